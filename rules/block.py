"""What is a stretch of readings of one point? Columns of whole numbers, and where they come from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from rules.flags import Flag

Times = NDArray[np.int64]
Counts = NDArray[np.int64]
Flags = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Block:
    """Readings of one point.

    times: int64[n], ms UTC; values: int64[n], counts of the point's resolution in its unit (0 where missing);
    flags: uint8[n], see rules.flags. Need not be sorted on the way into the engine; a Source yields them sorted and
    says so in `ordered`: times ascend strictly.
    """

    point: str
    times: Times
    values: Counts
    flags: Flags
    ordered: bool = False

    def __post_init__(self) -> None:
        if not len(self.times) == len(self.values) == len(self.flags):
            raise ValueError(
                f"block of {self.point}: {len(self.times)} times, {len(self.values)} values, {len(self.flags)} flags"
            )

    def __len__(self) -> int:
        return len(self.times)

    def between(self, after: int, upto: int) -> Block:
        """The readings with after < time <= upto of a sorted block, as views."""
        lo, hi = np.searchsorted(self.times, [after, upto], side="right")
        return Block(self.point, self.times[lo:hi], self.values[lo:hi], self.flags[lo:hi], self.ordered)


def block(
    point: str,
    times: Iterable[int],
    values: Iterable[int | None],
    flags: Iterable[int] | None = None,
) -> Block:
    """A block from plain sequences; a value of None is a missing reading (flag 9, value 0)."""
    listed = list(values)
    t = np.fromiter(times, dtype=np.int64)
    v = np.array([0 if x is None else x for x in listed], dtype=np.int64)
    given = [int(Flag.NOT_EVALUATED)] * len(listed) if flags is None else list(flags)
    f = np.array([int(Flag.MISSING) if x is None else g for x, g in zip(listed, given, strict=True)], dtype=np.uint8)
    return Block(point, t, v, f)


def first_of_each_time(part: Block) -> tuple[Block, int]:
    """`part` sorted by time with the first of equal times kept, and how many were left out."""
    if part.ordered:
        return part, 0
    if len(part) < 2 or bool(np.all(part.times[1:] > part.times[:-1])):
        return Block(part.point, part.times, part.values, part.flags, ordered=True), 0
    order = np.argsort(part.times, kind="stable")
    times = part.times[order]
    keep = np.concatenate(([True], times[1:] != times[:-1]))
    chosen = order[keep]
    kept = Block(part.point, part.times[chosen], part.values[chosen], part.flags[chosen], ordered=True)
    return kept, len(part) - len(chosen)


def concatenate(point: str, parts: Iterable[Block]) -> Block:
    """The parts of one point, one after the other, as one block (no sorting)."""
    listed = [p for p in parts if len(p)]
    if len(listed) == 1:
        return listed[0]
    if not listed:
        return Block(point, np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0, np.uint8))
    return Block(
        point,
        np.concatenate([p.times for p in listed]),
        np.concatenate([p.values for p in listed]),
        np.concatenate([p.flags for p in listed]),
    )


class Source(Protocol):
    """Where recorded readings come from: a recording, or the daemon's own store."""

    def points(self) -> list[str]:
        """The points that have readings here."""

    def span(self) -> tuple[int, int] | None:
        """First and last time over all points in ms UTC, or None when there is nothing."""

    def read(self, point: str, after: int, upto: int) -> Iterator[Block]:
        """Blocks of `point` with after < time <= upto, in order of time, first of equal times kept."""
