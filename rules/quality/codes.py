"""Does a reading show a number by which a probe or its driver says that it does not work?

A one-wire thermometer reads -127 degC when its cable is broken and 85 degC when it lost its supply while measuring.
No manual has this test; it is common practice and stands before the others, so that nothing is compared with a code.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from pydantic import Field

from rules.quality.settings import QualitySettings, counts
from rules.quality.stretch import Stretch
from rules.quality.verdicts import ALL_PASS, FAILS, PASSES, Verdicts
from rules.settings import Amount

if TYPE_CHECKING:
    from rules.local_time import Zone
    from rules.plan import PointPlan


class CodesSettings(QualitySettings):
    """A reading fails that shows one of these values exactly, as they come out when rounded like a reading."""

    values: tuple[Amount, ...] = Field(min_length=1, description="values that mean a dead probe, as in [-127, 85]")

    def build(self, point: PointPlan, zone: Zone) -> Codes:
        """The test; raises UnitError or ValueRefused where a value does not fit the point."""
        exact = [counts(value, point) for value in self.values]
        return Codes(tuple(sorted({round(value) for value in exact if value is not None})))


class Codes:
    """The test for one point; it carries nothing."""

    excludes = True

    def __init__(self, codes: tuple[int, ...]) -> None:
        self.codes = codes

    def judge(self, stretch: Stretch) -> Verdicts:
        """Fails where a reading is one of the codes, else passes."""
        found: Verdicts | None = None
        for code in self.codes:
            if stretch.lowest <= code <= stretch.highest:
                if found is None:
                    found = np.full(len(stretch), PASSES)
                found[stretch.v == code] = FAILS
        return ALL_PASS if found is None else found

    def state(self) -> None:
        """Nothing."""

    def load(self, state: None) -> None:
        """Nothing to take up."""
