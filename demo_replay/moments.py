"""How are moments and lengths of time shown in a report: in local time, as short as they can be told apart?"""

from __future__ import annotations

import datetime as dt

from rules.durations import DAY, HOUR, MINUTE
from rules.local_time import Zone


class Moments:
    """Shows moments of a span (ms UTC) in local time; the year only where the span leaves one."""

    def __init__(self, timezone: str, span: tuple[int, int]) -> None:
        self._zone = Zone(timezone)
        first, last = (self._zone.moment(ms) for ms in span)
        self._years = first.year != last.year

    def minute(self, ms: int) -> str:
        """`3 Apr 02:13`."""
        moment = self._zone.moment(ms)
        return f"{self._day(moment)} {moment:%H:%M}"

    def clock(self, ms: int) -> str:
        """`02:13`."""
        return f"{self._zone.moment(ms):%H:%M}"

    def long(self, ms: int) -> str:
        """`Fri 3 Apr 2026 02:13`."""
        moment = self._zone.moment(ms)
        return f"{moment:%a} {moment.day} {moment:%b %Y %H:%M}"

    def pair(self, first: int, second: int) -> str:
        """Two moments one above the other; the day of the second only where it is another."""
        one, two = self._zone.moment(first), self._zone.moment(second)
        top = self.minute(first)
        return (
            f"{top}\n{two:%H:%M}".replace("\n", "\n" + " " * (len(top) - 5))
            if one.date() == two.date()
            else (f"{top}\n{self.minute(second)}")
        )

    def _day(self, moment: dt.datetime) -> str:
        return f"{moment.day:>2} {moment:%b}" + (f" {moment:%Y}" if self._years else "")


def show_span(ms: int) -> str:
    """`90 s`, `35 min`, `4 h 20 min`, `2 d 5 h`: to the minute, and beyond two days to the hour."""
    if ms < 100_000:
        return f"{ms // 1000} s" if ms >= 1000 or not ms else f"{ms} ms"
    minutes = round(ms / MINUTE)
    if minutes < 60:
        return f"{minutes} min"
    if ms < 2 * DAY:
        hours, rest = divmod(minutes, 60)
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    days, hours = divmod(round(ms / HOUR), 24)
    return f"{days} d {hours} h" if hours else f"{days} d"
