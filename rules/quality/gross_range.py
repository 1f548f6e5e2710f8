"""Does a reading lie outside what the probe can measure, or outside what its keeper has ever seen?"""

from __future__ import annotations

import math
from fractions import Fraction
from operator import ge, le
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from rules.errors import SettingError
from rules.quality.settings import QualitySettings, counts, require_order
from rules.quality.stretch import Stretch
from rules.quality.verdicts import ALL_PASS, Verdicts, beyond
from rules.settings import Amount

if TYPE_CHECKING:
    from rules.local_time import Zone
    from rules.plan import PointPlan


class GrossRangeSettings(QualitySettings):
    """Outside the probe's span a reading fails; outside the user's span it is suspect; the ends of a span pass.

    QARTOD gross range test (required): a value outside the sensor's minimum and maximum gives 4, outside those that the
    operator chose 3; the comparison is strict.
    """

    fail_low: Amount | None = Field(None, description="the least that the probe can measure")
    fail_high: Amount | None = Field(None, description="the most that the probe can measure")
    suspect_low: Amount | None = Field(None, description="the least that the keeper believes")
    suspect_high: Amount | None = Field(None, description="the most that the keeper believes")

    def build(self, point: PointPlan, zone: Zone) -> GrossRange:
        """The test; raises SettingError where a span is upside down or the user's is not within the probe's."""
        fail = counts(self.fail_low, point), counts(self.fail_high, point)
        suspect = counts(self.suspect_low, point), counts(self.suspect_high, point)
        if fail == suspect == (None, None):
            raise SettingError("gross_range has no limit; write fail_low, fail_high, suspect_low or suspect_high")
        return GrossRange(checked("gross_range", suspect, fail, "suspect"), fail)


Limits = tuple[Fraction | None, Fraction | None]
"""The ends of a span in counts; None: open."""


def checked(name: str, inner: Limits, outer: Limits, called: str) -> Limits:
    """`inner`, if both spans are the right way round and it lies within `outer`; else raises SettingError."""
    for word, (low, high) in ((called, inner), ("fail", outer)):
        if low is not None and high is not None and low > high:
            raise SettingError(f"{name}: {word}_low is above {word}_high; swap them")
    require_order(name, inner[0], outer[0], le, f"fail_low is above {called}_low; what fails must lie further out")
    require_order(name, inner[1], outer[1], ge, f"fail_high is below {called}_high; what fails must lie further out")
    return inner


class Outside:
    """`v < low or v > high` for exact ends; None where neither end is set."""

    def __init__(self, limits: Limits) -> None:
        low, high = limits
        self.low = None if low is None else math.ceil(low)
        self.high = None if high is None else math.floor(high)

    def of(self, stretch: Stretch) -> NDArray[np.bool_] | None:
        """bool[n]: which readings lie outside; None where there are no ends."""
        if self.low is None:
            return None if self.high is None else stretch.v > self.high
        below: NDArray[np.bool_] = stretch.v < self.low
        if self.high is not None:
            below |= stretch.v > self.high
        return below

    def never(self, stretch: Stretch) -> bool:
        """Whether no reading of the stretch lies outside."""
        return (self.low is None or stretch.lowest >= self.low) and (self.high is None or stretch.highest <= self.high)


class GrossRange:
    """The test for one point; it carries nothing."""

    excludes = True

    def __init__(self, suspect: Limits, fail: Limits) -> None:
        self.suspect, self.fail = Outside(suspect), Outside(fail)

    def judge(self, stretch: Stretch) -> Verdicts:
        """Fails outside the probe's span, doubted outside the user's."""
        if self.suspect.never(stretch) and self.fail.never(stretch):
            return ALL_PASS
        return beyond(self.suspect.of(stretch), self.fail.of(stretch))

    def state(self) -> None:
        """Nothing."""

    def load(self, state: None) -> None:
        """Nothing to take up."""
