"""Which alarms does another one account for? `explains`, its rings, and how long past a return it still holds."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

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
        self.ring = self._rings()

    def _reachable(self, start: str) -> set[str]:
        found: set[str] = set()
        todo = [start]
        while todo:
            for cause in self.causes[todo.pop()]:
                if cause not in found:
                    found.add(cause)
                    todo.append(cause)
        return found

    def _rings(self) -> dict[str, frozenset[str]]:
        reach = {rule: self._reachable(rule) for rule in self.causes}
        return {
            rule: frozenset(other for other in reach[rule] if rule in reach[other])
            if rule in reach[rule]
            else frozenset()
            for rule in self.causes
        }

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
        ring = self.ring[rule]
        speaks = False
        if ring and rule in active_since:
            members = [member for member in ring if member in active_since]
            speaks = min(members, key=lambda m: (active_since[m], self.order[m])) == rule
        found = [
            cause
            for cause in self.causes[rule]
            if (cause in active_since or lingering(cause)) and not (speaks and cause in ring)
        ]
        return sorted(found, key=lambda cause: (active_since.get(cause, 0), self.order[cause]))
