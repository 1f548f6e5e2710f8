"""When does a local time of day come next, and when do quiet hours end?"""

from __future__ import annotations

import datetime as dt
import re

import numpy as np

from rules.durations import HOUR, MINUTE
from rules.errors import SettingError
from rules.local_time import Zone, when

_TIME = re.compile(r"([01]\d|2[0-3]):([0-5]\d)")


def time_of_day(text: str) -> int:
    """`"07:30"` -> ms after local midnight; raises SettingError that shows the form."""
    found = _TIME.fullmatch(text.strip())
    if found is None:
        raise SettingError(f'time of day {text!r} is not understood; write it as "07:30"')
    return int(found.group(1)) * HOUR + int(found.group(2)) * MINUTE


def next_at(of_day: int, after: int, zone: Zone) -> int:
    """The first time (ms UTC) later than `after` at which clocks show `of_day` (ms after midnight).

    Once a day: of an hour that comes twice the first counts, and one that is left out counts by the offset before it.
    """
    today = zone.moment(after).date()
    found = [_showing(today + dt.timedelta(days=days), of_day, zone, fold=0) for days in (-1, 0, 1, 2)]
    return min(at for at in found if at > after)


def _showing(day: dt.date, of_day: int, zone: Zone, *, fold: int) -> int:
    local = dt.datetime.combine(day, dt.time(), zone.info) + dt.timedelta(milliseconds=of_day)
    return round(local.replace(fold=fold).timestamp() * 1000)


class QuietHours:
    """Local hours of the day in which a person is not to be disturbed."""

    def __init__(self, hours: str, zone: Zone) -> None:
        """hours: as in `"22:00-07:00"`; raises SettingError."""
        self._span, self._zone = when(hours, None), zone
        self._from = self._to = 0
        self._quiet = False

    def until(self, ms: int) -> int | None:
        """The end (ms UTC) of the quiet hours in which a moment lies; None where it lies in none."""
        if not self._from <= ms < self._to:
            self._find(ms)
        return self._to if self._quiet else None

    def _within(self, ms: int) -> bool:
        return bool(self._span.holds(np.array([ms], np.int64), self._zone)[0])

    def _find(self, ms: int) -> None:
        """The span around a moment in which the answer is the same; what lies beyond it is found when asked for."""
        bounds = self._bounds(ms)
        self._quiet = self._within(ms)
        self._from = max(at for at in bounds if at <= ms)
        self._to = next(at for at in bounds if at > ms and self._within(at) != self._quiet)

    def _bounds(self, ms: int) -> list[int]:
        """Every time from the day before to the third after at which local hours may begin or end."""
        today = self._zone.moment(ms).date()
        found: set[int] = set()
        for days in range(-1, 4):
            day = today + dt.timedelta(days=days)
            for of_day in {0, *(self._span.hours or ())}:
                found.update(_showing(day, of_day, self._zone, fold=fold) for fold in (0, 1))
            found.update(self._zone.changes(_showing(day, 0, self._zone, fold=0)))
        return sorted(found)
