"""Does a reading agree with those of other probes near it?"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fractions import Fraction
from operator import ge
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from rules.block import Block, Counts, Times
from rules.errors import SettingError, UnitError
from rules.flags import Flag
from rules.quality.settings import QualitySettings, require_no_sign, require_order, step
from rules.quality.stretch import Stretch
from rules.quality.verdicts import ALL_UNTRIED, UNTRIED, Verdicts, beyond
from rules.settings import Amount

if TYPE_CHECKING:
    from rules.local_time import Zone
    from rules.plan import PointPlan

_SAFE = 2**61


class NeighbourSettings(QualitySettings):
    """A reading that differs from the median of its neighbours' by more than a limit is suspect, or fails.

    QARTOD neighbour test (suggested): a probe is compared with others near it. Neighbours count while they are fresh,
    with what their own tests found usable; with no fresh neighbour a reading is not evaluated.
    """

    points: tuple[str, ...] = Field(min_length=1, description="the points near it")
    suspect: Amount | None = Field(None, description="how far a suspect reading is from its neighbours")
    fail: Amount | None = Field(None, description="how far a failed reading is from them")

    def build(self, point: PointPlan, zone: Zone) -> Neighbour:
        """The test, which must still be told what the neighbours are; raises SettingError where no limit is given."""
        suspect, fail = step(self.suspect, point), step(self.fail, point)
        if suspect is None and fail is None:
            raise SettingError("neighbour has no limit; write suspect = ..., fail = ... or both")
        require_no_sign("neighbour", suspect, fail)
        require_order("neighbour", suspect, fail, ge, "fail is below suspect; what fails must be further off")
        if point.id in self.points:
            raise SettingError(f"neighbour: {point.id} is no neighbour of itself; name other points")
        return Neighbour(point, self.points, suspect, fail)


class Usable(NamedTuple):
    """The readings of a neighbour that its own tests found usable, in order of time: int64[n] ms and counts."""

    t: Times
    v: Counts


def as_they_came(part: Block) -> Usable:
    """The usable readings of a point that has no tests of its own."""
    fine = part.flags <= Flag.NOT_EVALUATED
    return Usable(part.times[fine], part.values[fine])


_NOTHING = Usable(np.empty(0, np.int64), np.empty(0, np.int64))


class Neighbour:
    """The test for one point; carries what each neighbour held last. Limits in counts of its own point."""

    excludes = False

    def __init__(self, point: PointPlan, names: Sequence[str], suspect: Fraction | None, fail: Fraction | None) -> None:
        self.point, self.names = point, tuple(names)
        self.suspect, self.fail = suspect, fail
        self.near: dict[str, tuple[Fraction, Fraction, int]] = {}
        """Neighbour -> scale and offset from its counts to those of the point, and how long (ms) it is fresh."""
        self.scale = 1
        self.held: dict[str, tuple[int, int]] = {}
        """Neighbour -> time and counts that it held before this step."""
        self.usable: Mapping[str, Usable] = {}
        """Neighbour -> what it said in this step."""

    def know(self, points: Mapping[str, PointPlan]) -> None:
        """Learn what the neighbours measure; one that is not among the points is never fresh.

        Raises UnitError for a neighbour of another dimension.
        """
        own = self.point.units
        for name in self.names:
            other = points.get(name)
            if other is None:
                continue
            if other.units.dimension != own.dimension:
                raise UnitError(f"neighbour: {name} and {self.point.id} do not measure the same; name other points")
            scale = other.resolution * other.units.scale / own.scale / self.point.resolution
            offset = (other.units.offset - own.offset) / own.scale / self.point.resolution
            self.near[name] = scale, offset, other.stale_after
            self.scale = math.lcm(self.scale, scale.denominator, offset.denominator)

    def hear(self, usable: Mapping[str, Usable]) -> None:
        """Take up what the neighbours said in this step; before `judge`, and also where that is not called."""
        for name, part in self.usable.items():
            if len(part.t):
                self.held[name] = int(part.t[-1]), int(part.v[-1])
        self.usable = {name: usable[name] for name in self.near if name in usable}

    def judge(self, stretch: Stretch) -> Verdicts:
        """Doubted or failed far from the median of the fresh neighbours; untried where none is fresh."""
        each = [self._held(stretch.t, name) for name in self.near]
        known = np.array([fresh for _, fresh in each])
        if not known.any():
            return ALL_UNTRIED
        count = known.sum(axis=0)
        # What is not fresh is sorted behind all that is.
        values = np.where(known, np.array([column for column, _ in each]), _SAFE)
        values.sort(axis=0)
        row, where = np.maximum(count - 1, 0), np.arange(len(stretch))
        twice = values[row // 2, where] + values[(row + 1) // 2, where]
        off = np.where(count > 0, np.abs(2 * _times(stretch.v, self.scale, 0) - twice), 0)
        suspect, fail = (
            None if limit is None else off > math.floor(2 * self.scale * limit) for limit in (self.suspect, self.fail)
        )
        return np.where(count > 0, beyond(suspect, fail), UNTRIED)

    def _held(self, times: Times, name: str) -> tuple[NDArray[Any], NDArray[np.bool_]]:
        """What a neighbour held at each time, in `scale`-th parts of the point's counts, and whether it was fresh."""
        scale, offset, hold = self.near[name]
        t, v = self.usable.get(name, _NOTHING)
        if name in self.held:
            before = self.held[name]
            t, v = np.append(np.int64(before[0]), t), np.append(np.int64(before[1]), v)
        if not len(t):
            return np.zeros(len(times), np.int64), np.zeros(len(times), np.bool_)
        at = np.searchsorted(t, times, side="right") - 1
        known = (at >= 0) & (times - t[at] <= hold)
        return _times(v, int(scale * self.scale), int(offset * self.scale))[at], known

    def state(self) -> dict[str, tuple[int, int]]:
        """What each neighbour held last."""
        self.hear({})
        return self.held

    def load(self, state: Mapping[str, Sequence[int]]) -> None:
        """Take up what `state` gave."""
        self.held = {name: (held[0], held[1]) for name, held in state.items()}


def _times(counts: Counts, factor: int, shift: int) -> NDArray[Any]:
    """counts * factor + shift; in Python's own integers where int64 would not do."""
    large = int(np.abs(counts).max()) * abs(factor) + abs(shift) > _SAFE // 4
    return (counts.astype(object) if large else counts) * factor + shift
