"""How does one side of a rule wait, become active and return, and what do people see of it?"""

from __future__ import annotations

from rules.settings import Priority, RuleSettings
from twin.running_time import RunningTime
from twin.truth import UNKNOWN, Look, Truth

LOWERED = {Priority.CRITICAL: Priority.HIGH, Priority.HIGH: Priority.MEDIUM}


class Side:
    """One side of one rule: its delays and its alarm."""

    def __init__(self, rule: RuleSettings, side: str, running: RunningTime) -> None:
        self.rule = rule
        self.side = side
        self.priority = LOWERED.get(rule.priority, rule.priority) if side == "blind" else rule.priority
        self.state = "normal"
        self.active = False
        self._running = running
        self._seen = UNKNOWN
        self._true_since: int | None = None
        self._back_since: int | None = None
        self._with_deadband = False

    @property
    def condition(self) -> Truth:
        """With its deadband, without its delays: what other rules and stages see."""
        return None if self._seen.condition is None else self._with_deadband

    def see(self, seen: Look, t: int) -> None:
        """Take note of the conditions as of instant t."""
        self._seen = seen
        if seen.condition is True:
            self._with_deadband = True
        elif seen.back is True:
            self._with_deadband = False
        self._wait(t)

    def _wait(self, t: int) -> None:
        """An idle side waits while its condition is true, an active one while its return condition is."""
        if self.active:
            self._true_since = None
            self._back_since = _since(self._back_since, self._seen.back, t)
        else:
            self._back_since = None
            self._true_since = _since(self._true_since, self._seen.condition, t)

    def onset_due(self) -> int | None:
        """When it will be active if its condition stays true."""
        return None if self._true_since is None else self._running.due(self._true_since, self.rule.on_delay)

    def return_due(self) -> int | None:
        """When it will have returned if its return condition stays true."""
        return None if self._back_since is None else self._running.due(self._back_since, self.rule.off_delay)

    def onset(self, t: int) -> tuple[str, str] | None:
        """Become active if that is due: the alarm's state before and after, or None."""
        due = self.onset_due()
        if due is None or due > t:
            return None
        self.active = True
        self._wait(t)
        return self._change({"normal": "unacknowledged", "returned": "unacknowledged"})

    def back(self, t: int) -> tuple[str, str] | None:
        """Return if that is due: the alarm's state before and after, or None."""
        due = self.return_due()
        if due is None or due > t:
            return None
        self.active = False
        self._wait(t)
        return self._change({"unacknowledged": "returned", "acknowledged": "normal"})

    def acknowledge(self) -> tuple[str, str] | None:
        """A person has seen it: the alarm's state before and after, or None where there was nothing to see."""
        return self._change({"unacknowledged": "acknowledged", "returned": "normal"})

    def _change(self, table: dict[str, str]) -> tuple[str, str] | None:
        if self.priority is Priority.LOG or self.state not in table:
            return None
        was, self.state = self.state, table[self.state]
        return was, self.state


def _since(before: int | None, truth: Truth, t: int) -> int | None:
    """Since when something has been true without a break; None where it is not."""
    if truth is not True:
        return None
    return t if before is None else before
