"""Which moment does a person mean by a time that is written down?"""

from __future__ import annotations

import datetime as dt
import math
from zoneinfo import ZoneInfo

_LAST = 253_402_300_800_000
"""The year 10000, beyond which no calendar here reaches, ms UTC."""


def moment_of(text: str, timezone: str) -> int | None:
    """RFC 3339 or epoch seconds -> ms UTC; a time or date without an offset is in `timezone`. None: it is no time, or
    lies outside the years 1970 to 9999."""
    text = text.strip()
    try:
        seconds = float(text)
    except ValueError:
        try:
            moment = dt.datetime.fromisoformat(text)
            seconds = (moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(timezone))).timestamp()
        except (ValueError, OverflowError):
            return None
    if not math.isfinite(seconds) or not 0 <= seconds * 1000 < _LAST:
        return None
    return round(seconds * 1000)
