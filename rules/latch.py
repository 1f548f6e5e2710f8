"""What is a condition as other rules see it: with its deadband, without its delays?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rules.edges import FALSE, TRUE, UNKNOWN, Edges, Judged, combine


class Latch:
    """True from the condition on until its return condition; what it was is remembered through unknown."""

    def __init__(self) -> None:
        self.memory = FALSE
        self.carry: int | None = None
        """The truth so far; None before the first step."""

    def _judge(self, truths: Sequence[int]) -> int:
        onset, clear = truths
        if onset == UNKNOWN:
            return UNKNOWN
        if onset == TRUE:
            self.memory = TRUE
        elif clear == TRUE:
            self.memory = FALSE
        return self.memory

    def edges(self, judged: Judged) -> Edges:
        """The edges of this step."""
        onset, clear = judged.onset, judged.returns()
        if self.carry is None:
            self.carry = self._judge((onset.first, clear.first))
        if not len(onset.keys) and not len(clear.keys):
            return Edges(self.carry, [], [])
        found = combine((onset, clear), self._judge, first=self.carry)
        self.carry = found.last
        return found

    def state(self) -> list[Any]:
        """What must survive a restart."""
        return [self.memory, self.carry]

    def load(self, state: list[Any]) -> None:
        """Take up what `state` gave."""
        self.memory, self.carry = state


def any_true(truths: Sequence[int]) -> int:
    """Kleene's or."""
    if TRUE in truths:
        return TRUE
    return UNKNOWN if UNKNOWN in truths else FALSE
