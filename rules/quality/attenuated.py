"""Has a reading come to move less than nature makes it move, short of standing still?"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from operator import le
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from rules.block import Block, Counts, Flags, Times
from rules.durations import Duration
from rules.errors import SettingError
from rules.flags import Flag
from rules.packing import pack, unpack
from rules.quality.narrow import narrow
from rules.quality.settings import QualitySettings, require_no_sign, require_order, step
from rules.quality.stretch import Stretch
from rules.quality.verdicts import ALL_UNTRIED, MISSING, UNTRIED, Verdicts, beyond, flags_of
from rules.settings import Amount

if TYPE_CHECKING:
    from rules.local_time import Zone
    from rules.plan import PointPlan

Mask = NDArray[np.bool_]

_NEAR = 1e-9
_SAFE = 2.0**62


class AttenuatedSettings(QualitySettings):
    """A reading is suspect, or fails, when the readings of a period vary by less than a limit.

    QARTOD attenuated signal test: standard deviation or `max - min` over TST_TIM below MIN_VAR_WARN gives 3, below
    MIN_VAR_FAIL gives 4. The comparison is strict, the deviation that of the readings themselves (divided by their
    number), the period `(t - period, t]`. With fewer than `min_readings` in it a reading is not evaluated.
    """

    suspect: Amount | None = Field(None, description="the least that it should vary by")
    fail: Amount | None = Field(None, description="less than that fails")
    kind: Literal["std", "range"] = "std"
    period: Duration = Field(gt=0)
    min_readings: int = Field(ge=2, description="how many readings of the period must be there to judge it")

    def build(self, point: PointPlan, zone: Zone) -> Attenuated:
        """The test; raises SettingError where no limit is given or fail is the higher one."""
        suspect, fail = limits(self.suspect, self.fail, point)
        return Attenuated(suspect, fail, self.kind, self.period, self.min_readings)


def limits(
    suspect: Decimal | str | None, fail: Decimal | str | None, point: PointPlan
) -> tuple[Fraction | None, Fraction | None]:
    """Both limits in counts; raises SettingError where there is none or fail is the higher one."""
    least, worst = step(suspect, point), step(fail, point)
    if least is None and worst is None:
        raise SettingError("attenuated has no limit; write suspect = ..., fail = ... or both")
    require_no_sign("attenuated", least, worst)
    require_order("attenuated", least, worst, le, "fail is above suspect; what fails must vary less")
    return least, worst


class Attenuated:
    """The test for one point; carries the readings of the period that has passed. Limits in counts, period in ms."""

    excludes = False

    def __init__(
        self, suspect: Fraction | None, fail: Fraction | None, kind: str, period: int, min_readings: int
    ) -> None:
        self.suspect, self.fail, self.kind = suspect, fail, kind
        self.period, self.min_readings = period, min_readings
        self.t: Times = np.empty(0, np.int64)
        self.v: Counts = np.empty(0, np.int64)

    def judge(self, stretch: Stretch) -> Verdicts:
        """Doubted or failed where the period varied too little; untried where it holds too few readings."""
        old, n = len(self.t), len(stretch)
        t = np.concatenate((self.t, stretch.t)) if old else stretch.t
        v = np.concatenate((self.v, stretch.v)) if old else stretch.v
        first = max(old, self.min_readings - 1)
        at = np.arange(first, old + n)
        # Enough readings are in (t - period, t] where the one so many places back is.
        at = at[t[at] - t[at - (self.min_readings - 1)] < self.period]
        found: Verdicts = ALL_UNTRIED
        if len(at):
            verdicts = beyond(*(self._less(t, v, at, limit) for limit in (self.suspect, self.fail)))
            found = verdicts if len(at) == n else _spread(verdicts, at - old, n)
        keep = int(np.searchsorted(t, t[-1] - self.period, side="right"))
        self.t, self.v = t[keep:].copy(), v[keep:].copy()
        return found

    def _less(self, t: Times, v: Counts, at: NDArray[np.intp], limit: Fraction | None) -> Mask | None:
        """bool[k]: whether the period that ends at each of the readings varied by less than the limit."""
        if limit is None:
            return None
        if self.kind == "range":
            return narrow(t, v, at, self.period - 1, math.ceil(limit) - 1)
        low = np.searchsorted(t, t[at] - self.period, side="right")
        return deviates_less(v, low, at, limit)

    def state(self) -> str:
        """The readings of the period, packed."""
        return pack(self.t, self.v)

    def load(self, state: str) -> None:
        """Take up what `state` gave."""
        self.t, self.v = unpack(state, 2)


def as_a_whole(settings: AttenuatedSettings, point: PointPlan, part: Block) -> Flags:
    """The flags of a recording that is its own and only period: all readings that carry a value get the same one.

    The period of the settings does not count. Raises SettingError as the settings do.
    """
    least, worst = limits(settings.suspect, settings.fail, point)
    there = part.flags != Flag.MISSING
    values = part.values[there]
    if len(values) < settings.min_readings:
        return flags_of(np.where(there, UNTRIED, MISSING))

    def less(limit: Fraction | None) -> Mask | None:
        if limit is None:
            return None
        if settings.kind == "range":
            return np.array([int(values.max()) - int(values.min()) < limit])
        return deviates_less(values, np.zeros(1, np.intp), np.array([len(values) - 1]), limit)

    return flags_of(np.where(there, beyond(less(least), less(worst))[0], MISSING))


def deviates_less(v: Counts, low: NDArray[np.intp], at: NDArray[np.intp], limit: Fraction) -> Mask:
    """bool[k]: where the standard deviation (divided by n) of `v[low[k]..at[k]]` is strictly below `limit`, exactly.

    `sd < L` is `n Sum(v^2) - Sum(v)^2 < L^2 n^2`. Prefix sums may wrap around; the difference of two is exact as long
    as the result fits, else Python's own integers are used.
    """
    if limit <= 0:
        return np.zeros(len(at), np.bool_)
    begin, end = int(low[0]), int(at[-1]) + 1
    part = v[begin:end]
    part = part - part[0]
    low, at = low - begin, at - begin
    n = at - low + 1
    spread = float(part.max()) - float(part.min())
    level = part - part.min()
    if float(n.max()) ** 2 * spread**2 < _SAFE:
        with np.errstate(over="ignore"):
            one, two = _windows(level, low, at), _windows(level * level, low, at)
            varied = n * two - one * one
    else:
        level = level.astype(object)
        one, two = _windows(level, low, at), _windows(level * level, low, at)
        varied = n.astype(object) * two - one * one
    square = limit * limit
    p, q = square.numerator, square.denominator
    allowed = n.astype(np.float64) ** 2 * (p / q)
    size = varied.astype(np.float64)
    less: Mask = size < allowed
    # Floats decide all but the near ties; those are decided by whole numbers without bound.
    near = np.flatnonzero(np.abs(size - allowed) <= _NEAR * allowed)
    less[near] = varied[near].astype(object) * q < n[near].astype(object) ** 2 * p
    return less


def _windows(column: NDArray[Any], low: NDArray[np.intp], at: NDArray[np.intp]) -> NDArray[Any]:
    total = np.concatenate((np.zeros(1, column.dtype), np.cumsum(column)))
    sums: NDArray[Any] = total[at + 1] - total[low]
    return sums


def _spread(verdicts: Verdicts, places: NDArray[np.intp], n: int) -> Verdicts:
    found: Verdicts = np.full(n, UNTRIED)
    found[places] = verdicts
    return found
