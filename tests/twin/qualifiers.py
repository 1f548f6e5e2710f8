"""Does a rule's condition count now? While another's is true, during hours and season, for a time after a note."""

from __future__ import annotations

from collections.abc import Callable

from rules.settings import RuleSettings
from tests.twin.local_time import in_hours, in_season
from tests.twin.truth import Look, Truth, all_true, any_true, opposite

MINUTE = 60_000


class Qualifiers:
    """What a rule needs besides its own condition."""

    def __init__(self, rule: RuleSettings, timezone: str, condition_of: Callable[[str], Truth]) -> None:
        self.rule = rule
        self.timezone = timezone
        self.needs: tuple[str, ...] = () if rule.while_ is None else (rule.while_,)
        self._condition_of = condition_of
        self._noted: int | None = None

    def note(self, kind: str | None, t: int) -> None:
        """A log entry of a kind was made at instant t."""
        if kind is not None and kind == self.rule.since_note:
            self._noted = t

    def qualify(self, look: Look, t: int) -> Look:
        """Where it does not count, the condition is false and the return condition true."""
        counts = self._counts(t)
        return Look(all_true([look.condition, counts]), any_true([look.back, opposite(counts)]))

    def due(self, judged: int) -> list[int]:
        """When that may change: hours and seasons begin and end at whole minutes."""
        out = []
        if self.rule.during is not None:
            out.append((judged // MINUTE + 1) * MINUTE)
        if self._noted is not None and self.rule.within is not None:
            out.append(self._noted + self.rule.within)
        return out

    def _counts(self, t: int) -> bool:
        rule = self.rule
        if rule.while_ is not None and self._condition_of(rule.while_) is not True:
            return False
        if rule.during is not None and not (
            in_hours(rule.during.hours, t, self.timezone) and in_season(rule.during.season, t, self.timezone)
        ):
            return False
        if rule.since_note is None:
            return True
        return self._noted is not None and (rule.within is None or t < self._noted + rule.within)
