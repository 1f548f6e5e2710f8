"""How does one side of a rule wait, become active and return, and what do people see of it?"""

from __future__ import annotations

from rules.settings import Priority, RuleSettings
from tests.twin.running_time import RunningTime
from tests.twin.truth import UNKNOWN, Look, Truth

Change = tuple[str, str] | None
"""The alarm's state before and after, or None where it did not change."""

LOWERED = {Priority.CRITICAL: Priority.HIGH, Priority.HIGH: Priority.MEDIUM}

ONSET = {
    "normal": "unacknowledged",
    "returned": "unacknowledged",
    "latched-unacknowledged": "unacknowledged",
    "latched-acknowledged": "unacknowledged",
}
RETURN = {"unacknowledged": "returned", "acknowledged": "normal"}
RETURN_LATCHED = {"unacknowledged": "latched-unacknowledged", "acknowledged": "latched-acknowledged"}
ACKNOWLEDGE = {
    "unacknowledged": "acknowledged",
    "returned": "normal",
    "latched-unacknowledged": "latched-acknowledged",
}
RESET = {"latched-acknowledged": "normal"}
QUIET = ("out-of-service", "shelved", "suppressed")
"""States in which an alarm does not speak; the first of them that applies is shown."""


class Side:
    """One side of one rule: its delays and its alarm."""

    def __init__(self, rule: RuleSettings, side: str, running: RunningTime) -> None:
        self.rule = rule
        self.side = side
        self.priority = LOWERED.get(rule.priority, rule.priority) if side == "blind" else rule.priority_of(side)
        self.state = "normal"
        self.active_since: int | None = None
        self.returned_at: int | None = None
        self.out_of_service = False
        self.shelved_until: int | None = None
        self.explained = False
        self._running = running
        self._seen = UNKNOWN
        self._true_since: int | None = None
        self._back_since: int | None = None
        self._with_deadband = False

    @property
    def active(self) -> bool:
        """Whether its delayed condition is true, whatever people see of it."""
        return self.active_since is not None

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

    def due(self) -> list[int]:
        """When something will happen to it if nothing else does: onset, return, end of shelving."""
        instants = [self._onset_due(), self._return_due(), self.shelved_until]
        return [instant for instant in instants if instant is not None]

    def _onset_due(self) -> int | None:
        return None if self._true_since is None else self._running.due(self._true_since, self.rule.on_delay)

    def _return_due(self) -> int | None:
        return None if self._back_since is None else self._running.due(self._back_since, self.rule.off_delay)

    def begin(self, t: int) -> bool:
        """Become active if that is due; whether it did."""
        due = self._onset_due()
        if due is None or due > t:
            return False
        self.active_since = t
        self._wait(t)
        return True

    def end(self, t: int) -> bool:
        """Return if that is due; whether it did."""
        due = self._return_due()
        if due is None or due > t:
            return False
        self.active_since = None
        self.returned_at = t
        self._wait(t)
        return True

    def onset(self) -> Change:
        """What people see of its becoming active."""
        return self._change(ONSET)

    def back(self) -> Change:
        """What people see of its return."""
        return self._change(RETURN_LATCHED if self.rule.latch else RETURN)

    def acknowledge(self) -> Change:
        """A person has seen it."""
        return self._change(ACKNOWLEDGE)

    def reset(self) -> Change:
        """A person ends a latched alarm that is over and was acknowledged."""
        return self._change(RESET)

    def speak_or_not(self) -> Change:
        """Fall quiet where it must; where it need not any more, be judged anew."""
        applies = (self.out_of_service, self.shelved_until is not None, self.explained and self.active)
        quiet = [state for state, so in zip(QUIET, applies, strict=True) if so]
        if quiet:
            return self._to(quiet[0])
        if self.state in QUIET:
            return self._to("unacknowledged" if self.active else "normal")
        return None

    def _change(self, table: dict[str, str]) -> Change:
        changed = self.speak_or_not()
        if changed is not None or self.state not in table:
            return changed
        return self._to(table[self.state])

    def _to(self, state: str) -> Change:
        if self.priority is Priority.LOG or state == self.state:
            return None
        was, self.state = self.state, state
        return was, state


def _since(before: int | None, truth: Truth, t: int) -> int | None:
    """Since when something has been true without a break; None where it is not."""
    if truth is not True:
        return None
    return t if before is None else before
