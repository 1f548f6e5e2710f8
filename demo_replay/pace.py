"""How fast is a recorded day played? At one speed around what people marked in it, and faster elsewhere."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from rules.durations import MINUTE

AROUND = 45 * MINUTE
"""Played at the plain speed before and after each mark."""
QUIET = 2
"""How many times faster the rest is played."""


@dataclass(frozen=True, slots=True)
class Pace:
    """`speed`: seconds of the recording in a second, around the `marks` (first and last instant of each, ms UTC)."""

    speed: float
    marks: tuple[tuple[int, int], ...] = ()

    def at(self, instant: int) -> float:
        """The speed at an instant of the recording, ms UTC."""
        marked = any(first - AROUND <= instant <= last + AROUND for first, last in self.marks)
        return self.speed if marked else self.speed * QUIET

    def seconds(self, begin: int, end: int) -> float:
        """How long it takes to play from one instant to another."""
        cuts = {begin, end}
        for first, last in self.marks:
            cuts.update(cut for cut in (first - AROUND, last + AROUND + 1) if begin < cut < end)
        ordered = sorted(cuts)
        return sum((b - a) / 1000 / self.at(a) for a, b in pairwise(ordered))
