"""Which rules are accounted for by another one, so that their alarms need not speak?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from rules.settings import RuleSettings
from tests.twin.alarm import Side
from tests.twin.running_time import RunningTime
from tests.twin.truth import Truth


class Explaining:
    """Who explains whom, as of now, and what else keeps alarms quiet."""

    def __init__(
        self,
        rules: Sequence[RuleSettings],
        sides: Mapping[str, list[Side]],
        running: RunningTime,
        condition_of: Callable[[str], Truth],
    ) -> None:
        self.rules = rules
        self._condition_of = condition_of
        self.sides = sides
        self._running = running

    def judge(self, t: int) -> None:
        """Tell every side whether its rule is explained at instant t."""
        for rule in self.rules:
            explained = not rule.never_suppressed and (
                any(self._explains(other, rule, t) for other in self.rules if rule.id in other.explains)
                or (rule.suppressed_while is not None and self._condition_of(rule.suppressed_while) is True)
            )
            for side in self.sides[rule.id]:
                side.explained = explained

    def due(self) -> list[int]:
        """When the time past a return ends."""
        return [
            self._running.due(side.returned_at, rule.after)
            for rule in self.rules
            if rule.explains
            for side in self.sides[rule.id]
            if side.returned_at is not None
        ]

    def _explains(self, other: RuleSettings, rule: RuleSettings, t: int) -> bool:
        """Whether `other`, which explains `rule`, does so at t: active, or back for no longer than `after`."""
        if self._since(other) is not None:
            return not (self._in_a_ring(other, rule) and self._speaks(rule))
        return any(
            side.returned_at is not None and self._running.due(side.returned_at, other.after) > t
            for side in self.sides[other.id]
            if not side.out_of_service
        )

    def _since(self, rule: RuleSettings) -> int | None:
        """Since when a rule is active; None where it is not, or is out of service."""
        since = [
            side.active_since
            for side in self.sides[rule.id]
            if side.active_since is not None and not side.out_of_service
        ]
        return min(since, default=None)

    def _in_a_ring(self, one: RuleSettings, other: RuleSettings) -> bool:
        """Whether each is reached from the other by explanations among active rules."""
        return other.id in self._reached([one.id]) and one.id in self._reached([other.id])

    def _reached(self, names: Iterable[str]) -> set[str]:
        """What the active rules of these names explain among active rules, directly or not."""
        active = {rule.id: rule for rule in self.rules if self._since(rule) is not None}
        reached: set[str] = set()
        ahead = [name for name in names if name in active]
        while ahead:
            for name in active[ahead.pop()].explains:
                if name in active and name not in reached:
                    reached.add(name)
                    ahead.append(name)
        return reached

    def _speaks(self, rule: RuleSettings) -> bool:
        """Whether of its ring of active rules this one is active longest, ties by site order."""
        ring = [other for other in self.rules if other.id == rule.id or self._in_a_ring(other, rule)]
        longest = min(ring, key=lambda other: (self._since(other) or 0, self.rules.index(other)))
        return longest.id == rule.id
