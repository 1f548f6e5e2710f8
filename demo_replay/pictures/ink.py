"""Which colours, shapes and sizes do all pictures share? Legible on a phone, and printed in grey."""

from __future__ import annotations

from typing import NamedTuple

WIDTH = 1080
"""Pixels."""
DPI = 180
TEXT, SMALL, HEADING = 11.5, 10.0, 17.0
"""Points: about 29, 25 and 43 pixels."""

INK = "#222222"
PLAIN = "#555555"
FAINT = "#8c8c8c"
GRID = "#d9d9d9"
BEYOND = "#ececec"
PAPER = "#ffffff"


class Look(NamedTuple):
    """How alarms of one priority are drawn; height: share of a lane; shade: in a calendar, darker is worse."""

    mark: str
    colour: str
    hatch: str
    height: float
    shade: str


LOOKS = {
    "critical": Look("◆", "#a80022", "", 1.0, "#8c001c"),
    "high": Look("▲", "#d95f02", "////", 0.8, "#dd5b1b"),
    "medium": Look("●", "#c79100", "...", 0.6, "#f0a35e"),
    "low": Look("○", "#5f86b3", "", 0.4, "#f8d9bd"),
}
"""By priority, worst first."""


def inches(pixels: float) -> float:
    """Pixels as inches at the pictures' resolution."""
    return pixels / DPI
