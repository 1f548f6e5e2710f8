"""What does an alarm come from at an instant, and is it kept quiet for that?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from rules.alarms import Alarm, State
from rules.delays import due_key
from rules.edges import TRUE, Edges, listed, steady, truth_at
from rules.errors import SettingError
from rules.explaining import Explaining
from rules.running import Running
from rules.settings import RuleSettings

Alarms = Mapping[str, Mapping[str, Alarm]]
"""rule -> side -> alarm."""


class Causes:
    """Which rules are active, which have only just returned, and what that says of the others."""

    def __init__(self, rules: tuple[RuleSettings, ...], alarms: Alarms, running: Running) -> None:
        """Raises SettingError where a rule is suppressed while what is no other rule."""
        self._alarms, self._running = alarms, running
        self._rules = {rule.id: rule for rule in rules}
        self._explaining = Explaining(rules)
        self._active: dict[str, dict[str, int]] = {}
        """rule -> side -> key since which its delayed condition is active, for those that are."""
        self._returned: dict[str, int] = {}
        """rule -> key of its last return, where it still explains others for a while."""
        self._while = {
            rule.id: rule.suppressed_while
            for rule in rules
            if rule.suppressed_while is not None and not rule.never_suppressed
        }
        for name, other in self._while.items():
            if other not in self._rules or other == name:
                what = "is itself" if other == name else "is no rule"
                raise SettingError(f"{name} is suppressed while {other}, which {what}; name another rule")
        self._conditions: Mapping[str, Edges] = {other: steady(0) for other in self._while.values()}

    def look(self, conditions: Mapping[str, Edges]) -> set[int]:
        """Take up the conditions of a step; the keys at which one that suppresses others changes."""
        self._conditions = {other: conditions[other] for other in set(self._while.values())}
        return {key for edges in self._conditions.values() for key in listed(edges)[0]}

    def changed(self, rule: RuleSettings, side: str, key: int, *, active: bool) -> None:
        """The delayed condition of a side became active or returned."""
        if active:
            self._active.setdefault(rule.id, {})[side] = key
            self._returned.pop(rule.id, None)
            return
        sides = self._active.get(rule.id, {})
        sides.pop(side, None)
        # A side that is out of service explains nothing, so that it still stands does not count.
        if rule.after and self._serves(rule.id, side) and not any(self._serves(rule.id, other) for other in sides):
            self._returned[rule.id] = key
        if not sides:
            self._active.pop(rule.id, None)

    def can_quiet(self, rule: str) -> bool:
        """Whether anything can suppress the alarms of a rule."""
        return bool(self._explaining.causes[rule]) or rule in self._while

    def quiet_because(self, rule: str, key: int) -> str:
        """Why the alarms of a rule are suppressed at an instant; empty where they are not."""
        causes = self._explaining.causes_now(rule, self._explainers(), lambda other: self.lingers(other, key))
        if causes:
            return "explained by " + ", ".join(causes)
        other = self._while.get(rule)
        if other is not None and truth_at(self._conditions[other], key) == TRUE:
            return f"suppressed while {other}"
        return ""

    def behind(self, rule: str, key: int) -> list[str]:
        """The rules that account for a rule now, nearest first, those behind them included."""
        lingering = [other for other in self._returned if self.lingers(other, key)]
        return self._explaining.behind(rule, {*self._explainers(), *lingering})

    def first_behind(self, causes: list[str]) -> tuple[str, int | None]:
        """Of what `behind` gave: the one that probably came first, and the key of its return where it is over."""
        first = self._explaining.probable_first(causes, self._explainers())
        return first, self._returned.get(first)

    def first_of(self, alarms: list[Alarm]) -> Alarm:
        """The one of some alarms that probably came first: that which explains most, else the one active longest."""
        rule = self._explaining.probable_first([alarm.rule for alarm in alarms], self._explainers())
        return next(alarm for alarm in alarms if alarm.rule == rule)

    def lingers(self, rule: str, key: int) -> bool:
        """Whether a rule has returned so short a time ago that it still explains others."""
        at = self._returned.get(rule)
        sides = self._alarms.get(rule, {})
        if sides and all(alarm.state is State.OUT_OF_SERVICE for alarm in sides.values() if alarm.side != "fault"):
            return False
        return at is not None and due_key(at, self._rules[rule].after, self._running) > key

    def _explainers(self) -> dict[str, int]:
        """rule -> key since which it is active, for those of which some active side is in service."""
        return {
            rule: min(serving)
            for rule, sides in self._active.items()
            if (serving := [since for side, since in sides.items() if self._serves(rule, side)])
        }

    def _serves(self, rule: str, side: str) -> bool:
        alarm = self._alarms.get(rule, {}).get(side)
        return alarm is None or alarm.state is not State.OUT_OF_SERVICE

    def expire(self, key: int) -> None:
        """Forget the returns that explain nothing any more at an instant."""
        self._returned = {rule: at for rule, at in self._returned.items() if self.lingers(rule, key)}

    def timers(self) -> Iterator[int]:
        """The keys at which a return is forgotten."""
        for rule, at in self._returned.items():
            yield due_key(at, self._rules[rule].after, self._running)

    def state(self) -> dict[str, Any]:
        """What must survive a restart."""
        return {"active": self._active, "returned": self._returned}

    def load(self, state: dict[str, Any]) -> None:
        """Take up what `state` gave for the rules that still exist."""
        self._active = {rule: dict(sides) for rule, sides in state["active"].items() if rule in self._rules}
        self._returned = {rule: key for rule, key in state["returned"].items() if rule in self._rules}
