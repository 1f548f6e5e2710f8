"""What differs between two replays of one recording: which alarms are new, gone, earlier or later?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

from demo_replay.episodes import Episode


class Difference(StrEnum):
    """What other settings did to an alarm."""

    SAME = "same"
    EARLIER = "earlier"
    LATER = "later"
    NEW = "new"
    GONE = "gone"


class Pair(NamedTuple):
    """The same trouble as two replays saw it; None where one of them raised no alarm."""

    before: Episode | None
    after: Episode | None

    @property
    def shift(self) -> int:
        """How much later it was raised in the second replay, ms; 0 where only one of them raised it."""
        return self.after.raised - self.before.raised if self.before and self.after else 0

    @property
    def difference(self) -> Difference:
        """What the second replay's settings did to it."""
        if self.before is None:
            return Difference.NEW
        if self.after is None:
            return Difference.GONE
        if self.shift == 0:
            return Difference.SAME
        return Difference.EARLIER if self.shift < 0 else Difference.LATER

    @property
    def other_end(self) -> bool:
        """Whether both replays raised it, but it did not end at the same time."""
        return self.before is not None and self.after is not None and self.before.ended != self.after.ended

    @property
    def latest(self) -> Episode:
        """As the second replay saw it, or the first where the second did not."""
        found = self.after or self.before
        if found is None:
            raise ValueError("a pair of nothing")
        return found

    @property
    def first(self) -> int:
        """When either replay first raised it, ms UTC."""
        return min(one.raised for one in self if one is not None)


def compare(before: Sequence[Episode], after: Sequence[Episode]) -> list[Pair]:
    """The alarms of both replays, in the order in which they were raised.

    Two alarms of one side of one rule are the same trouble when the spans from onset to return touch; each is paired
    once, with the earliest that is left.
    """
    left = list(before)
    pairs: list[Pair] = []
    for one in after:
        match = next((other for other in left if _same_trouble(one, other)), None)
        if match is not None:
            left.remove(match)
        pairs.append(Pair(match, one))
    pairs += [Pair(one, None) for one in left]
    return sorted(pairs, key=lambda pair: pair.first)


def _same_trouble(one: Episode, other: Episode) -> bool:
    if (one.rule, one.side) != (other.rule, other.side):
        return False
    one_end = math.inf if one.ended is None else one.ended
    other_end = math.inf if other.ended is None else other.ended
    return one.onset <= other_end and other.onset <= one_end
