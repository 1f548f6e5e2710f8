"""Does a reading differ from the one before by more than the water or the air can change in that time?"""

from __future__ import annotations

from fractions import Fraction
from operator import ge
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from rules.errors import SettingError
from rules.quality.settings import QualitySettings, rate, require_no_sign, require_order
from rules.quality.stretch import Stretch
from rules.quality.verdicts import ALL_PASS, ALL_UNTRIED, PASSES, UNTRIED, Verdicts, beyond
from rules.settings import Amount

if TYPE_CHECKING:
    from rules.local_time import Zone
    from rules.plan import PointPlan

_NEAR = 1e-9
_SAFE = 2**62


class RateOfChangeSettings(QualitySettings):
    """A reading that differs from the one before by more than a rate allows is suspect, or fails beyond a second rate.

    QARTOD rate of change test: `|v[n] - v[n-1]| > N_DEV x SD` gives 3. A rate in time stands here in the place of the
    manual's multiple of a standard deviation a sample, so that a lost reading changes nothing. The first reading, and
    one that follows a missing or failed one, is not evaluated.
    """

    suspect: Amount | None = Field(None, description='a number is per second; else as in "1 degC/min"')
    fail: Amount | None = Field(None, description="likewise")

    def build(self, point: PointPlan, zone: Zone) -> RateOfChange:
        """The test; raises SettingError where no rate is given, one is negative, or fail is the slower one."""
        suspect, fail = rate(self.suspect, point), rate(self.fail, point)
        if suspect is None and fail is None:
            raise SettingError('rate_of_change has no limit; write suspect = "1 degC/min"')
        require_no_sign("rate_of_change", suspect, fail)
        require_order("rate_of_change", suspect, fail, ge, "fail is slower than suspect; what fails must be faster")
        return RateOfChange(suspect, fail, point.stale_after)


class RateOfChange:
    """The test for one point; it carries nothing, since a stretch knows the reading before it.

    suspect, fail: counts a millisecond. hold: neighbours further apart than this (ms) are not compared; None: all are.
    """

    excludes = False

    def __init__(self, suspect: Fraction | None, fail: Fraction | None, hold: int | None) -> None:
        self.suspect, self.fail, self.hold = suspect, fail, hold

    def judge(self, stretch: Stretch) -> Verdicts:
        """Doubted or failed where the step is too large for its time; untried where nothing is there to compare."""
        if len(stretch) == 1 and stretch.before is None:
            return ALL_UNTRIED
        found = beyond(_faster(stretch, self.suspect), _faster(stretch, self.fail))
        if found is ALL_UNTRIED:
            found = ALL_PASS
        apart = stretch.apart_by(self.hold)
        if not len(apart):
            return found
        found = np.full(len(stretch), PASSES) if found is ALL_PASS else found
        found[apart] = UNTRIED
        return found

    def state(self) -> None:
        """Nothing."""

    def load(self, state: None) -> None:
        """Nothing to take up."""


def _faster(stretch: Stretch, limit: Fraction | None) -> NDArray[np.bool_] | None:
    """bool[n]: where the step is strictly faster than `limit`; None where nowhere."""
    if limit is None:
        return None
    largest = max(stretch.largest_rise, stretch.largest_fall)
    if largest <= limit * stretch.shortest_wait:
        return None
    size, waits = np.abs(stretch.rises), stretch.waits
    p, q = limit.numerator, limit.denominator
    if largest * q < _SAFE and p * stretch.longest_wait < _SAFE:
        return size * np.int64(q) > waits * np.int64(p)
    allowed = waits.astype(np.float64) * float(limit)
    faster: NDArray[np.bool_] = size > allowed
    # Floats decide all but the near ties; those are decided by whole numbers without bound.
    near = np.flatnonzero(np.abs(size - allowed) <= _NEAR * size)
    faster[near] = size[near].astype(object) * q > waits[near].astype(object) * p
    return faster
