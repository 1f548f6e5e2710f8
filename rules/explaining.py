"""Which alarms does another one account for? `explains`, its rings, and how long past a return it still holds."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Container, Iterable, Mapping, Sequence

from rules.settings import RuleSettings


class Explaining:
    """Who explains whom among the rules of a plan."""

    def __init__(self, rules: Sequence[RuleSettings]) -> None:
        self.order = {rule.id: index for index, rule in enumerate(rules)}
        self.after = {rule.id: rule.after for rule in rules}
        self.causes: dict[str, list[str]] = {rule.id: [] for rule in rules}
        for rule in rules:
            for explained in rule.explains:
                if explained in self.causes and explained != rule.id:
                    self.causes[explained].append(rule.id)
        self.never = {rule.id for rule in rules if rule.never_suppressed}

    def behind(self, rule: str, active: Container[str]) -> list[str]:
        """The active rules that account for a rule by one step or more, nearest first."""
        found: list[str] = []
        todo = [rule]
        while todo:
            for cause in self.causes[todo.pop(0)]:
                if cause in active and cause != rule and cause not in found:
                    found.append(cause)
                    todo.append(cause)
        return found

    def probable_first(self, rules: Iterable[str], active_since: Mapping[str, int]) -> str:
        """Which of some rules probably came first: the one that accounts for most active ones, else active longest."""
        counted = Counter(cause for rule in active_since for cause in self.behind(rule, active_since))
        return min(rules, key=lambda r: (-counted[r], active_since.get(r, 1 << 62), self.order[r]))

    def _ring(self, rule: str, active: Mapping[str, int]) -> set[str]:
        """The active rules that explain each other in a ring through `rule`, itself included; empty without one."""
        members = {rule} if self._leads(rule, rule, active) else set()
        return members | {other for other in active if other != rule and self._mutual(rule, other, active)}

    def _mutual(self, one: str, other: str, active: Mapping[str, int]) -> bool:
        return self._leads(one, other, active) and self._leads(other, one, active)

    def _leads(self, start: str, goal: str, active: Mapping[str, int]) -> bool:
        """Whether causes lead from `start` to `goal` by active rules alone, in one step or more."""
        seen: set[str] = set()
        todo = [start]
        while todo:
            for cause in self.causes[todo.pop()]:
                if cause == goal and goal in active:
                    return True
                if cause in active and cause not in seen:
                    seen.add(cause)
                    todo.append(cause)
        return False

    def causes_now(self, rule: str, active_since: Mapping[str, int], lingering: Callable[[str], bool]) -> list[str]:
        """The causes that suppress `rule` now, those active longest first.

        active_since: rule -> key since which its delayed condition is active, for those that are; lingering: whether
        a rule returned less than its `after` ago. In a ring of active rules the one active longest speaks.
        """
        if rule in self.never:
            return []
        return self.accounts(rule, active_since, lingering)

    def accounts(self, rule: str, active_since: Mapping[str, int], lingering: Callable[[str], bool]) -> list[str]:
        """As `causes_now`, for a rule that is never suppressed too."""
        ring = self._ring(rule, active_since) if rule in active_since and self.causes[rule] else set()
        # Longest is a matter of time: what began in the same instant is a tie, whatever its phase.
        speaks = bool(ring) and min(ring, key=lambda m: (active_since[m] >> 1, self.order[m])) == rule
        found = [
            cause
            for cause in self.causes[rule]
            if (cause in active_since or lingering(cause)) and not (speaks and cause in ring)
        ]
        return sorted(found, key=lambda cause: (active_since.get(cause, 0), self.order[cause]))
