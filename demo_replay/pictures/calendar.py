"""In which local hours of which days did an alarm stand, and when was nothing heard?"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_replay.episodes import Episode
from demo_replay.pictures.ink import LOOKS
from rules.block import Source
from rules.durations import DAY, HOUR, MINUTE
from rules.local_time import Zone
from rules.plan import PointPlan

OUTSIDE, QUIET, UNHEARD = -2, 0, -1
"""A cell outside the span, without an alarm, and without a reading; else the worst alarm: 1 low .. 4 critical."""

_SLOT = 15 * MINUTE
"""Every offset of a time zone in use is a whole number of these."""
_WORST = {priority: len(LOOKS) - index for index, priority in enumerate(LOOKS)}


@dataclass(frozen=True, slots=True)
class Calendar:
    """Cells int8[days, 24] by local day and hour; first: the local date of row 0."""

    first: dt.date
    cells: NDArray[np.int8]

    def date(self, row: int) -> dt.date:
        """The local date of a row."""
        return self.first + dt.timedelta(days=row)


def calendar(
    found: Sequence[Episode], source: Source, points: Sequence[PointPlan], span: tuple[int, int], timezone: str
) -> Calendar:
    """The calendar of `span` (ms UTC). An alarm counts from its onset to its return.

    An hour is unheard when none of `points` has a reading in it, or had one so short a time before that the next is not
    yet expected. An hour that the clock change repeats is one cell, and the worse of both counts.
    """
    slots = np.arange(span[0] // _SLOT * _SLOT, span[1] + 1, _SLOT, dtype=np.int64)
    local = slots + Zone(timezone).offsets(slots)
    first_day = int(local[0] // DAY)
    rows, hours = local // DAY - first_day, local % DAY // HOUR
    begun = np.zeros(len(slots) + 1, np.int64)
    for point in points:
        for block in source.read(point.id, span[0] - 1, span[1]):
            first = (block.times - slots[0]) // _SLOT
            last = np.minimum((block.times + point.expect_every - 1 - slots[0]) // _SLOT, len(slots) - 1)
            begun += np.bincount(first, minlength=len(begun)) - np.bincount(last + 1, minlength=len(begun))
    heard = np.cumsum(begun)[:-1] > 0
    worst = np.zeros(len(slots), np.int8)
    for one in found:
        start = max(one.onset, span[0])
        end = span[1] if one.ended is None else min(one.ended, span[1])
        if end >= start:
            part = slice(int((start - slots[0]) // _SLOT), int((end - slots[0]) // _SLOT) + 1)
            worst[part] = np.maximum(worst[part], _WORST[one.priority])
    cells = np.full((int(rows[-1]) + 1, 24), OUTSIDE, np.int8)
    np.maximum.at(cells, (rows, hours), np.where(heard, QUIET, UNHEARD).astype(np.int8))
    np.maximum.at(cells, (rows, hours), np.where(worst > 0, worst, OUTSIDE).astype(np.int8))
    return Calendar(dt.date(1970, 1, 1) + dt.timedelta(days=first_day), cells)
