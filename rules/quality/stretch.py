"""What does a quality test look at? A stretch of readings of one point, and the steps from each to the next."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rules.block import Counts, Times

Positions = NDArray[np.intp]

_NONE = np.empty(0, np.intp)


@dataclass
class Stretch:
    """Readings that carry a value, in order of time, and the last one before them.

    t, v: int64[n] ms UTC and counts; heard: int64[m] the times of all readings of the stretch, those without a value
    included; places: the positions of the former among the latter, None where all carry a value. before: (time, counts)
    of the last reading with a value before the stretch; joined: whether that was the very last reading before it.
    """

    t: Times
    v: Counts
    heard: Times
    places: Positions | None = None
    before: tuple[int, int] | None = None
    joined: bool = False

    def __len__(self) -> int:
        return len(self.t)

    @cached_property
    def lowest(self) -> int:
        """The smallest counts; at least one reading is there."""
        return int(self.v.min())

    @cached_property
    def highest(self) -> int:
        """The largest counts; at least one reading is there."""
        return int(self.v.max())

    @cached_property
    def rises(self) -> Counts:
        """int64[n]: counts of each reading less those of the one before; 0 where there is none."""
        return _steps(self.v, None if self.before is None else self.before[1])

    @cached_property
    def waits(self) -> Times:
        """int64[n]: time of each reading less that of the one before, ms; 0 where there is none."""
        return _steps(self.t, None if self.before is None else self.before[0])

    @cached_property
    def largest_rise(self) -> int:
        """The largest step upwards, or 0."""
        return max(0, int(self.rises.max()))

    @cached_property
    def largest_fall(self) -> int:
        """The largest step downwards, above 0, or 0."""
        return max(0, -int(self.rises.min()))

    @cached_property
    def longest_wait(self) -> int:
        """The longest time between neighbours, ms; 0 where there is one reading only."""
        return int(self.waits.max())

    @cached_property
    def shortest_wait(self) -> int:
        """The shortest time between neighbours, ms; 0 where there is one reading only."""
        waits = self.waits if self.before is not None else self.waits[1:]
        return int(waits.min()) if len(waits) else 0

    @cached_property
    def apart(self) -> Positions:
        """Sorted positions of the readings before which a reading without a value came, or nothing at all."""
        first = _NONE if self.joined and (self.places is None or self.places[0] == 0) else np.zeros(1, np.intp)
        if self.places is None:
            return first
        return np.concatenate((first, np.flatnonzero(self.places[1:] - self.places[:-1] != 1) + 1))

    def apart_by(self, hold: int | None) -> Positions:
        """`apart`, and those whose neighbour before is more than `hold` ms older."""
        if hold is None or self.longest_wait <= hold:
            return self.apart
        return np.union1d(self.apart, np.flatnonzero(self.waits > hold))

    def without(self, failed: NDArray[np.bool_]) -> Stretch:
        """The stretch as if the readings that failed carried no value; what lies before it stays as it is."""
        kept = np.flatnonzero(~failed)
        places = kept if self.places is None else self.places[kept]
        return Stretch(self.t[kept], self.v[kept], self.heard, places, self.before, self.joined)


def stretch_of(
    times: Times, values: Counts, missing: NDArray[np.bool_] | None, before: tuple[int, int] | None, joined: bool
) -> Stretch:
    """The stretch of readings int64[m]; missing: bool[m] where there is no value, None where there always is."""
    if missing is None:
        return Stretch(times, values, times, None, before, joined)
    places = np.flatnonzero(~missing)
    return Stretch(times[places], values[places], times, places, before, joined)


def _steps(column: NDArray[np.int64], before: int | None) -> NDArray[np.int64]:
    steps = np.empty(len(column), np.int64)
    np.subtract(column[1:], column[:-1], out=steps[1:])
    steps[:1] = 0 if before is None else column[:1] - before
    return steps
