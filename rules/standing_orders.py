"""What have people ordered for a while: which rules are muted, who is on duty, does a drill run?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from rules.acts import Act, ActKind
from rules.durations import DAY, HOUR, MINUTE
from rules.people import PersonSettings
from rules.settings import RuleSettings

LONGEST = {ActKind.MUTE: 12 * HOUR, ActKind.DRILL: 4 * HOUR, ActKind.AWAY: 366 * DAY, ActKind.SHELVE: 366 * DAY}
"""Each ends by itself after this at the latest (ms)."""
DRILL_LASTS = 30 * MINUTE
"""A drill without an end of its own (ms)."""


class Mute(NamedTuple):
    """Rules that are not told until a time (ms UTC)."""

    until: int
    rules: tuple[str, ...]


class Away(NamedTuple):
    """Who stands in for the others, from a key until a time (ms UTC)."""

    since: int
    until: int
    on_duty: tuple[str, ...]


class StandingOrders:
    """Orders that end by themselves; an order of a kind whose end does not lie ahead ends that kind."""

    def __init__(
        self,
        rules: Mapping[str, RuleSettings],
        points: Mapping[str, set[str]],
        never_muted: set[str],
        persons: tuple[PersonSettings, ...],
    ) -> None:
        """points: rule -> every point that it rests on, by itself or by other rules and derived points."""
        self._rules, self._points, self.never_muted = rules, points, never_muted
        self._persons = [person.id for person in persons]
        self.mutes: list[Mute] = []
        self.away: Away | None = None
        self.drill_until = 0
        """ms UTC; 0: no drill runs."""
        self.drilled: tuple[str, ...] = ()
        """The rules that a drill is of; none: of all."""

    def take(self, act: Act, key: int) -> str:
        """Take up a MUTE, AWAY or DRILL at an instant; why it is refused, empty where it is not."""
        now = key >> 1
        until = act.until
        if until is None and act.kind is ActKind.DRILL:
            until = now + DRILL_LASTS
        if until is None:
            return f"{act.kind.value} needs an end"
        if until > now + LONGEST[act.kind]:
            return f"{act.kind.value} may last {LONGEST[act.kind] // HOUR} h at most"
        try:
            rules = self._named(act)
        except _Unknown as error:
            return str(error)
        if act.kind is ActKind.MUTE:
            return self._mute(rules, until, now)
        if act.kind is ActKind.AWAY:
            return self._go_away(act, until, key)
        if until > now:
            self.drilled = rules
        # One that is ended early is over at this instant, and what still stands of it is real.
        self.drill_until = max(until, now) if until > now or self.drill_until else 0
        return ""

    def _named(self, act: Act) -> tuple[str, ...]:
        """The rules that an act names, by themselves or by points; raises _Unknown."""
        rules = [*([act.rule] if act.rule else []), *_listed(act.data.get("rules", ""))]
        points = _listed(act.data.get("points", ""))
        known = set().union(*self._points.values()) if points else set()
        for kind, name in [
            *(("rule", rule) for rule in rules if rule not in self._rules),
            *(("point", point) for point in points if point not in known),
        ]:
            raise _Unknown(f"there is no {kind} {name}" + ("" if kind == "rule" else " that a rule looks at"))
        rules += [rule for rule in self._rules if self._points[rule].intersection(points)]
        return tuple(dict.fromkeys(rules))

    def _mute(self, rules: tuple[str, ...], until: int, now: int) -> str:
        if until <= now:
            self.mutes = [Mute(m.until, tuple(r for r in m.rules if rules and r not in rules)) for m in self.mutes]
            self.mutes = [mute for mute in self.mutes if mute.rules]
            return ""
        if not rules:
            return "a mute must name rules or points"
        muted = tuple(rule for rule in rules if rule not in self.never_muted)
        if not muted:
            return f"{', '.join(rules)} is never muted"
        self.mutes.append(Mute(until, muted))
        return ""

    def _go_away(self, act: Act, until: int, key: int) -> str:
        if until <= key >> 1:
            self.away = None
            return ""
        on_duty = _listed(act.data.get("on_duty", ""))
        unknown = [person for person in on_duty if person not in self._persons]
        if unknown or not on_duty:
            return f"there is no person {unknown[0]}" if unknown else "away needs somebody on duty"
        self.away = Away(key, until, tuple(on_duty))
        return ""

    def rests_on(self, rule: str, points: Iterable[str]) -> bool:
        """Whether a rule rests on one of the points."""
        return not self._points[rule].isdisjoint(points)

    def expire(self, key: int) -> bool:
        """Forget what is over at an instant; whether a drill has just ended."""
        now = key >> 1
        self.mutes = [mute for mute in self.mutes if mute.until > now]
        if self.away is not None and self.away.until <= now:
            self.away = None
        ended = 0 < self.drill_until <= now
        if ended:
            self.drill_until = 0
        return ended

    def muted_until(self, rule: str) -> int:
        """The end (ms UTC) of the muting of a rule; 0 where it is not muted."""
        return max((mute.until for mute in self.mutes if rule in mute.rules), default=0)

    def drills(self, rule: RuleSettings) -> bool:
        """Whether an alarm of a rule that is raised now belongs to a drill; what is never suppressed is always real."""
        return self.drill_until > 0 and not rule.never_suppressed and (not self.drilled or rule.id in self.drilled)

    def ends(self) -> Iterator[int]:
        """When each order ends, ms UTC."""
        yield from (mute.until for mute in self.mutes)
        if self.away is not None:
            yield self.away.until
        if self.drill_until:
            yield self.drill_until

    def state(self) -> dict[str, Any]:
        """What must survive a restart."""
        return {
            "mutes": [[mute.until, list(mute.rules)] for mute in self.mutes],
            "away": None if self.away is None else [self.away.since, self.away.until, list(self.away.on_duty)],
            "drill": [self.drill_until, list(self.drilled)],
        }

    def load(self, state: dict[str, Any]) -> None:
        """Take up what `state` gave; rules and persons that are gone are left out."""
        self.mutes = [Mute(until, tuple(r for r in rules if r in self._rules)) for until, rules in state["mutes"]]
        if state["away"] is not None:
            since, until, on_duty = state["away"]
            left = tuple(person for person in on_duty if person in self._persons)
            self.away = Away(since, until, left) if left else None
        self.drill_until, drilled = state["drill"]
        self.drilled = tuple(drilled)


class _Unknown(Exception):
    """A name that stands for nothing."""


def _listed(text: str) -> list[str]:
    """`"a, b"` as a list."""
    return [name.strip() for name in text.split(",") if name.strip()]
