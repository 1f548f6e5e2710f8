"""Which moment does a person mean by a time on the command line?"""

from __future__ import annotations

from demo_replay.moment_text import moment_of
from rules.errors import SettingError


def moment_argument(text: str | None, timezone: str, name: str) -> int | None:
    """RFC 3339 or epoch seconds -> ms UTC; a time or date without an offset is in `timezone`. None stays None.

    Raises SettingError that shows how to write it.
    """
    if text is None:
        return None
    moment = moment_of(text, timezone)
    if moment is None:
        raise SettingError(f"{name} {text!r} is no time; write 2026-04-03T02:14, 2026-04-03 or 2026-04-03T02:14:30Z")
    return moment
