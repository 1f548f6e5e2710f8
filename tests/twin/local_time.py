"""Does an instant lie in local hours and season as they are written?"""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

DAY_MS = 24 * 60 * 60 * 1000


def in_hours(hours: str | None, t: int, timezone: str) -> bool:
    """Whether t (ms UTC) lies in `"20:00-07:00"`: from the first, before the second, over midnight if need be."""
    if hours is None:
        return True
    begin, end = (_ms_of_day(part) for part in hours.split("-"))
    local = _local(t, timezone)
    now = ((local.hour * 60 + local.minute) * 60 + local.second) * 1000 + t % 1000
    if begin <= end:
        return begin <= now < end
    return now >= begin or now < end


def in_season(season: str | None, t: int, timezone: str) -> bool:
    """Whether the local date of t lies in `"11-01..03-31"`, both days included, over New Year if need be."""
    if season is None:
        return True
    first, last = (_month_day(part) for part in season.split(".."))
    local = _local(t, timezone)
    today = (local.month, local.day)
    if first <= last:
        return first <= today <= last
    return today >= first or today <= last


def _local(t: int, timezone: str) -> dt.datetime:
    return dt.datetime.fromtimestamp(t // 1000, tz=ZoneInfo(timezone))


def _ms_of_day(text: str) -> int:
    hour, minute = text.strip().split(":")
    return (int(hour) * 60 + int(minute)) * 60_000


def _month_day(text: str) -> tuple[int, int]:
    month, day = text.strip().split("-")
    return int(month), int(day)
