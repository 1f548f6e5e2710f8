"""Does a reading stand out from both its neighbours?"""

from __future__ import annotations

import math
from fractions import Fraction
from operator import ge
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from rules.errors import SettingError
from rules.quality.settings import QualitySettings, require_no_sign, require_order, step
from rules.quality.stretch import Stretch
from rules.quality.verdicts import ALL_PASS, ALL_UNTRIED, PASSES, UNTRIED, Verdicts, beyond
from rules.settings import Amount

if TYPE_CHECKING:
    from rules.local_time import Zone
    from rules.plan import PointPlan


class SpikeSettings(QualitySettings):
    """A reading that stands out from its neighbours by more than a limit is suspect, or fails beyond a second limit.

    QARTOD spike test: `|v[n-1] - (v[n-2] + v[n]) / 2|` above the lower limit gives 3, above the higher one 4; the
    newest reading stays 2 until the next one arrives. `differential` takes instead the smaller of the two steps where
    they go opposite ways, so that a step to a new level is no spike. A neighbour of a missing or failed one stays 2.
    """

    suspect: Amount | None = Field(None, description="how far a suspect reading stands out")
    fail: Amount | None = Field(None, description="how far a failed reading stands out")
    method: Literal["average", "differential"] = "average"

    def build(self, point: PointPlan, zone: Zone) -> Spike:
        """The test; raises SettingError where no limit is given, one is negative, or fail is the lower one."""
        suspect, fail = step(self.suspect, point), step(self.fail, point)
        if suspect is None and fail is None:
            raise SettingError("spike has no limit; write suspect = ..., fail = ... or both")
        require_no_sign("spike", suspect, fail)
        require_order("spike", suspect, fail, ge, "fail is below suspect; what fails must stand out further")
        return Spike(suspect, fail, self.method, point.stale_after)


class Spike:
    """The test for one point; carries the last step. Its verdict on a reading comes with the next one."""

    excludes = False

    def __init__(self, suspect: Fraction | None, fail: Fraction | None, method: str, hold: int | None) -> None:
        """suspect, fail: counts. hold: neighbours further apart than this (ms) are not compared; None: all are."""
        self.differential = method == "differential"
        self.hold = hold
        # |v - (a + b) / 2| > L is |(v - a) - (b - v)| > 2 L.
        scale = 1 if self.differential else 2
        self.suspect, self.fail = (None if limit is None else math.floor(limit * scale) for limit in (suspect, fail))
        self.rise: int | None = None
        """Counts of the last reading less those of the one before; None where there is nothing to compare it with."""

    def judge(self, stretch: Stretch) -> Verdicts:
        """Nothing yet: every reading is untried when it arrives."""
        return ALL_UNTRIED

    def judge_before(self, stretch: Stretch) -> Verdicts:
        """The verdict on the reading before each of the stretch, so not on its last but on one that came before it."""
        apart = stretch.apart_by(self.hold)
        found = self._stands_out(stretch)
        untried = np.union1d(apart, apart + 1)
        untried = untried[untried < len(stretch)]
        if self.rise is None:
            untried = np.union1d(untried, np.zeros(1, np.intp))
        if len(untried):
            found = np.full(len(stretch), PASSES) if found is ALL_PASS else found
            found[untried] = UNTRIED
        is_apart = bool(len(apart)) and int(apart[-1]) == len(stretch) - 1
        self.rise = None if is_apart else int(stretch.rises[-1])
        return found

    def _stands_out(self, stretch: Stretch) -> Verdicts:
        before = self.rise or 0
        lowest, highest = min(before, -stretch.largest_fall), max(before, stretch.largest_rise)
        most = max(-lowest, highest) if self.differential else highest - lowest
        if all(limit is None or most <= limit for limit in (self.suspect, self.fail)):
            return ALL_PASS
        rises = stretch.rises
        earlier = np.empty_like(rises)
        earlier[0], earlier[1:] = before, rises[:-1]
        if self.differential:
            size = np.minimum(np.abs(earlier), np.abs(rises))
            size[(earlier ^ rises) >= 0] = 0
        else:
            size = np.abs(earlier - rises)
        return beyond(_above(size, self.suspect), _above(size, self.fail))

    def state(self) -> int | None:
        """The last step."""
        return self.rise

    def load(self, state: int | None) -> None:
        """Take up what `state` gave."""
        self.rise = state


def _above(size: NDArray[np.int64], limit: int | None) -> NDArray[np.bool_] | None:
    return None if limit is None else size > limit
