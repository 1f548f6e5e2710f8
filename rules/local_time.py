"""What local time of day and season is a moment in? Columns of UTC milliseconds against a time zone."""

from __future__ import annotations

import datetime as dt
import re
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from rules.block import Times
from rules.durations import DAY, HOUR, MINUTE
from rules.errors import SettingError

_HOURS = re.compile(r"(\d\d):(\d\d)-(\d\d):(\d\d)")
_SEASON = re.compile(r"(\d\d)-(\d\d)\.\.(\d\d)-(\d\d)")


class Zone:
    """A time zone whose offsets are found once a day of data, and to the minute on days when they change."""

    def __init__(self, name: str) -> None:
        self.info = ZoneInfo(name)
        self._known: dict[int, int] = {}

    def offset(self, ms: int) -> int:
        """Local time less UTC at a moment, ms."""
        delta = dt.datetime.fromtimestamp(ms // 1000, tz=self.info).utcoffset()
        return round(delta.total_seconds() * 1000) if delta is not None else 0

    def _at_midnight(self, day: int) -> int:
        if day not in self._known:
            self._known[day] = self.offset(day * DAY)
        return self._known[day]

    def offsets(self, times: Times) -> NDArray[np.int64]:
        """`offset` of sorted times, int64[n]."""
        if not len(times):
            return np.empty(0, np.int64)
        first, last = int(times[0]) // DAY, int(times[-1]) // DAY
        found = np.empty(len(times), np.int64)
        begin, value = 0, self.offset(int(times[0]))
        for day in range(first, last + 1):
            after = self._at_midnight(day + 1)
            if after != value:
                change = self._change(max(day * DAY, int(times[0])), (day + 1) * DAY)
                cut = int(np.searchsorted(times, change, side="left"))
                found[begin:cut] = value
                begin, value = cut, after
        found[begin:] = value
        return found

    def _change(self, low: int, high: int) -> int:
        before = self.offset(low)
        while high - low > 1000:
            middle = (low + high) // 2000 * 1000
            if middle <= low:
                break
            low, high = (middle, high) if self.offset(middle) == before else (low, middle)
        return high

    def changes(self, midnight: int) -> list[int]:
        """The times (ms) within the 25 hours after `midnight` at which the offset changes."""
        end = midnight + 25 * HOUR
        return [] if self.offset(end) == self.offset(midnight) else [self._change(midnight, end)]

    def moment(self, ms: int) -> dt.datetime:
        """The local date and time of a moment."""
        return dt.datetime.fromtimestamp(ms // 1000, tz=self.info)


class When(NamedTuple):
    """Local hours (ms of the day, end exclusive, may pass midnight) and season ((month, day), both ends included)."""

    hours: tuple[int, int] | None
    season: tuple[tuple[int, int], tuple[int, int]] | None

    def holds(self, times: Times, zone: Zone) -> NDArray[np.bool_]:
        """Which of the sorted times lie within, bool[n]."""
        local = times + zone.offsets(times)
        within = np.ones(len(times), np.bool_)
        if self.hours is not None:
            begin, end = self.hours
            of_day = local % DAY
            within &= (of_day >= begin) & (of_day < end) if begin < end else (of_day >= begin) | (of_day < end)
        if self.season is not None:
            days = local // DAY
            distinct, back = np.unique(days, return_inverse=True)
            dates = [dt.date(1970, 1, 1) + dt.timedelta(days=int(day)) for day in distinct]
            first, last = self.season
            inside = np.array([_in_season((d.month, d.day), first, last) for d in dates], np.bool_)
            within &= inside[back]
        return within


def _in_season(day: tuple[int, int], first: tuple[int, int], last: tuple[int, int]) -> bool:
    return first <= day <= last if first <= last else day >= first or day <= last


def when(hours: str | None, season: str | None) -> When:
    """Parse `"20:00-07:00"` and `"11-01..03-31"`; raises SettingError that shows the form."""
    span: tuple[int, int] | None = None
    if hours is not None:
        found = _HOURS.fullmatch(hours.strip())
        numbers = [int(x) for x in found.groups()] if found else []
        if not numbers or numbers[0] > 23 or numbers[2] > 24 or numbers[1] > 59 or numbers[3] > 59:
            raise SettingError(f'hours {hours!r} are not understood; write them as "20:00-07:00"')
        span = (numbers[0] * HOUR + numbers[1] * MINUTE, numbers[2] * HOUR + numbers[3] * MINUTE)
    months: tuple[tuple[int, int], tuple[int, int]] | None = None
    if season is not None:
        found = _SEASON.fullmatch(season.strip())
        parts = [int(x) for x in found.groups()] if found else []
        if not parts or not all(1 <= m <= 12 for m in parts[::2]) or not all(1 <= d <= 31 for d in parts[1::2]):
            raise SettingError(f'season {season!r} is not understood; write it as "11-01..03-31"')
        months = ((parts[0], parts[1]), (parts[2], parts[3]))
    return When(span, months)
