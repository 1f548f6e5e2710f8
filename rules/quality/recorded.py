"""Which flag does one test in the end give each reading of a recording?"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np

from rules.block import Block, Flags
from rules.flags import Flag
from rules.local_time import Zone
from rules.plan import PointPlan
from rules.quality.attenuated import deviates_less, limits
from rules.quality.quality import Quality
from rules.quality.settings import QualitySettings
from rules.quality.verdicts import MISSING, beyond, flags_of


def final_flags(settings: QualitySettings, point: PointPlan, part: Block, zone: Zone | None = None) -> Flags:
    """uint8[n]: the flag with which each reading ends when this test alone judges them, in order of time."""
    flags, finals = Quality((settings,), point, zone).judge(part)
    flags[np.searchsorted(part.times, finals.times)] = finals.flags
    return flags


def attenuated_as_a_whole(
    suspect: Decimal | str | None, fail: Decimal | str | None, kind: str, point: PointPlan, part: Block
) -> Flags:
    """The attenuated signal test with the whole recording as its one period: all readings get the same flag.

    suspect, fail: as in AttenuatedSettings; kind: std or range. Raises SettingError as those do.
    """
    least, worst = limits(suspect, fail, point)
    there = part.flags != Flag.MISSING
    values = part.values[there]
    if not len(values):
        return part.flags.copy()

    def less(limit: Fraction | None) -> np.ndarray[tuple[int], np.dtype[np.bool_]] | None:
        if limit is None:
            return None
        if kind == "range":
            return np.array([int(values.max()) - int(values.min()) < limit])
        return deviates_less(values, np.zeros(1, np.intp), np.array([len(values) - 1]), limit)

    found = beyond(less(least), less(worst))[0]
    return flags_of(np.where(there, found, MISSING))
