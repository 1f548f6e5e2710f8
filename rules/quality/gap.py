"""Did a reading come later than it should have?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from pydantic import Field

from rules.durations import Duration
from rules.quality.settings import QualitySettings
from rules.quality.stretch import Stretch
from rules.quality.verdicts import ALL_PASS, FAILS, PASSES, Verdicts

if TYPE_CHECKING:
    from rules.local_time import Zone
    from rules.plan import PointPlan


class GapSettings(QualitySettings):
    """A reading that comes longer than the limit after the one before it fails.

    QARTOD gap test (required): `NOW - TIM_STMP > TIM_INC` gives 4. While nothing comes there is no reading to flag: the
    engine's staleness says so at once, with a `silent` rule. The flag that remains in the record is that of the reading
    which ends the gap; rules do not use it, so the test is off unless it is asked for.
    """

    limit: Duration = Field(gt=0, description="the longest wait that is no gap")

    def build(self, point: PointPlan, zone: Zone) -> Gap:
        """The test."""
        return Gap(self.limit)


class Gap:
    """The test for one point; carries the time of the last reading, with or without a value. Limit in ms."""

    excludes = False

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self.last: int | None = None

    def judge(self, stretch: Stretch) -> Verdicts:
        """Fails after a gap, else passes."""
        heard = stretch.heard
        late = np.zeros(len(heard), np.bool_)
        np.greater(heard[1:] - heard[:-1], self.limit, out=late[1:])
        late[0] = self.last is not None and int(heard[0]) - self.last > self.limit
        self.last = int(heard[-1])
        if not late.any():
            return ALL_PASS
        found = np.where(late, FAILS, PASSES)
        return found if stretch.places is None else found[stretch.places]

    def state(self) -> int | None:
        """The time of the last reading."""
        return self.last

    def load(self, state: int | None) -> None:
        """Take up what `state` gave."""
        self.last = state
