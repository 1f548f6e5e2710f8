"""Where do local hours and days fall along a span, and how are they written?"""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from rules.durations import DAY, HOUR, MINUTE

_STEPS = (5 * MINUTE, 15 * MINUTE, HOUR, 3 * HOUR, 6 * HOUR, 12 * HOUR)
_MOST = 9


def ticks(span: tuple[int, int], timezone: str) -> list[tuple[int, str]]:
    """(ms UTC, text) at round local times, at most about nine of them; a day's name at midnight."""
    zone = ZoneInfo(timezone)
    length = span[1] - span[0]
    step = next((step for step in _STEPS if length / step <= _MOST), DAY)
    days = max(1, -(-length // (_MOST * DAY))) if step == DAY else 1
    first = dt.datetime.fromtimestamp(span[0] / 1000, tz=zone).replace(hour=0, minute=0, second=0, microsecond=0)
    found: list[tuple[int, str]] = []
    day = first
    while (midnight := _ms(day)) <= span[1]:
        for part in range(DAY // step if step < DAY else 1):
            # Counted on the wall clock: 06:00 stays 06:00 on a day of 23 or 25 hours.
            moment = (day.replace(tzinfo=None) + dt.timedelta(milliseconds=part * step)).replace(tzinfo=zone)
            at = _ms(moment)
            if span[0] <= at <= span[1] and at >= midnight:
                found.append((at, f"{moment:%a} {moment.day}" if part == 0 else f"{moment:%H:%M}"))
        day = (day.replace(tzinfo=None) + dt.timedelta(days=days)).replace(tzinfo=zone)
    return found


def heading(span: tuple[int, int], timezone: str) -> str:
    """`Thu 2 Apr 12:00 to Fri 3 Apr 2026 12:00`."""
    zone = ZoneInfo(timezone)
    first, last = (dt.datetime.fromtimestamp(ms / 1000, tz=zone) for ms in span)
    year = "" if first.year == last.year else f" {first.year}"
    return f"{first:%a} {first.day} {first:%b}{year} {first:%H:%M} to {last:%a} {last.day} {last:%b %Y %H:%M}"


def _ms(moment: dt.datetime) -> int:
    return round(moment.timestamp() * 1000)
