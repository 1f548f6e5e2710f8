"""How is a length of time written? As a number with a unit (`"90 s"`), kept as whole milliseconds."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator

from rules.errors import SettingError
from rules.units import UNITS, exact, split_amount

SECOND = 1000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR


def parse_duration(text: object) -> int:
    """`"90 s"`, `"5 min"`, `"1 h"`, `"7 d"`, `"250 ms"` -> milliseconds; a whole int passes through as milliseconds.

    Raises SettingError for a bare number in text, a negative length, or a part of a millisecond.
    """
    if isinstance(text, int) and not isinstance(text, bool):
        return text
    if not isinstance(text, str):
        raise SettingError(f'{text} is no duration; write a number with a unit, as in "5 min"')
    number, symbol = split_amount(text)
    unit = UNITS.get(symbol)
    if not number or unit is None or unit.dimension != "time":
        raise SettingError(f'{text!r} is no duration; write a number with s, min, h or d, as in "5 min"')
    length = exact(number) * unit.scale * 1000
    if length < 0 or length.denominator != 1:
        raise SettingError(f"{text!r} must be a whole number of milliseconds and not negative; write 0 s or more")
    return int(length)


def show_duration(ms: int) -> str:
    """Milliseconds in the largest unit that shows them whole: `90000` -> `"90 s"`, `3600000` -> `"1 h"`."""
    for size, name in ((DAY, "d"), (HOUR, "h"), (MINUTE, "min"), (SECOND, "s")):
        if ms >= size and ms % size == 0:
            return f"{ms // size} {name}"
    return f"{ms} ms" if ms % SECOND else f"{ms // SECOND} s"


def _written(value: object) -> int:
    if isinstance(value, int) and not isinstance(value, bool):
        raise SettingError(f'{value} has no unit; write "{value} s" or "{value} min"')
    return parse_duration(value)


Duration = Annotated[int, BeforeValidator(_written)]
"""A pydantic field written with a unit and kept in milliseconds."""
