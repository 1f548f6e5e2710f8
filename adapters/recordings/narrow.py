"""How do the readings of a year fit into little memory? Cut into pieces, each in as few bytes as its numbers need."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.block import Block, Flags, Times, concatenate, first_of_each_time
from rules.flags import Flag

_PIECE = 1 << 16
"""Readings in a piece of what had to be sorted."""


class Piece(NamedTuple):
    """Readings of one point: times `first + since`, ms UTC; flags None where all are NOT_EVALUATED."""

    first: int
    since: NDArray[np.uint32] | NDArray[np.int64]
    counts: NDArray[np.signedinteger]
    flags: Flags | None

    def block(self, point: str) -> Block:
        """As it is used."""
        times: Times = self.since.astype(np.int64) + self.first
        flags = np.full(len(times), Flag.NOT_EVALUATED, np.uint8) if self.flags is None else self.flags
        return Block(point, times, self.counts.astype(np.int64), flags)

    def last(self) -> int:
        """The time of its last reading."""
        return self.first + int(self.since[-1])


def piece(times: Times, counts: NDArray[np.int64], flags: Flags) -> Piece:
    """From columns of at least one reading, in the order given."""
    first = int(times[0])
    since = times - first
    short = int(since.min()) >= 0 and int(since.max()) < 1 << 32
    widest = max(int(counts.max()), -int(counts.min()))
    width: type[np.signedinteger] = np.int16 if widest < 1 << 15 else np.int32 if widest < 1 << 31 else np.int64
    usual = bool((flags == Flag.NOT_EVALUATED).all())
    return Piece(first, since.astype(np.uint32) if short else since, counts.astype(width), None if usual else flags)


class Narrow(Mapping[str, Block]):
    """point -> its readings, sorted, first of equal times kept; made anew at each look. repeats: those left out."""

    def __init__(self) -> None:
        self._pieces: dict[str, list[Piece]] = {}
        self.repeats = 0

    def put(self, point: str, pieces: list[Piece]) -> None:
        """All readings of one point, in the order in which they were met."""
        if any(not _ascends(one) for one in pieces) or any(
            later.first <= earlier.last() for earlier, later in itertools.pairwise(pieces)
        ):
            part, repeats = first_of_each_time(_joined(point, pieces))
            self.repeats += repeats
            cuts = [slice(at, at + _PIECE) for at in range(0, len(part), _PIECE)]
            pieces = [piece(part.times[cut], part.values[cut], part.flags[cut]) for cut in cuts]
        self._pieces[point] = pieces

    def __getitem__(self, point: str) -> Block:
        part = _joined(point, self._pieces[point])
        return Block(point, part.times, part.values, part.flags, ordered=True)

    def __iter__(self) -> Iterator[str]:
        return iter(self._pieces)

    def __len__(self) -> int:
        return len(self._pieces)

    def spans(self) -> dict[str, tuple[int, int]]:
        """point -> first and last time, for those that have readings."""
        return {point: (parts[0].first, parts[-1].last()) for point, parts in self._pieces.items() if parts}

    def read(self, point: str, after: int, upto: int) -> Iterator[Block]:
        """The readings of `point` with after < time <= upto, in order."""
        for one in self._pieces.get(point, ()):
            if one.first <= upto and one.last() > after:
                lo, hi = np.searchsorted(one.since, [after - one.first, upto - one.first], side="right")
                flags = None if one.flags is None else one.flags[lo:hi]
                wanted = Piece(one.first, one.since[lo:hi], one.counts[lo:hi], flags).block(point)
                if len(wanted):
                    yield Block(point, wanted.times, wanted.values, wanted.flags, ordered=True)


def _ascends(one: Piece) -> bool:
    return bool((one.since[1:] > one.since[:-1]).all())


def _joined(point: str, pieces: Iterable[Piece]) -> Block:
    return concatenate(point, [one.block(point) for one in pieces])
