"""How did a season go? A calendar of the hours in which something was out of its band, days down and hours across."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path as Outline
from numpy.typing import NDArray

from demo_replay.episodes import Episode, called, episodes
from demo_replay.moments import show_span
from demo_replay.pictures.calendar import QUIET, UNHEARD, Calendar, calendar
from demo_replay.pictures.day import alarms_in_words
from demo_replay.pictures.hours import heading
from demo_replay.pictures.ink import FAINT, HEADING, INK, LOOKS, PLAIN, SMALL, TEXT, WIDTH, Look
from demo_replay.pictures.sheet import MARGIN, Sheet
from rules.block import Source
from rules.durations import HOUR
from rules.events import Event
from rules.plan import Plan
from rules.showing import fitted

_LEFT = 186
_TALL_UPTO = 62
"""Up to so many days, each has a row tall enough for its name."""
_MOST_RULES = 15
_QUIET = "#f1f1f1"


def picture_of_season(
    plan: Plan, source: Source, events: Sequence[Event], path: Path, span: tuple[int, int] | None = None
) -> None:
    """Draw weeks or months, 1080 pixels wide, to the PNG `path`; arguments as for picture_of_day.

    Raises ValueError for an empty source, OSError.
    """
    shown = span or source.span()
    if shown is None:
        raise ValueError("there is no reading to draw")
    found = [one for one in episodes(events) if one.onset <= shown[1] and (one.ended is None or one.ended >= shown[0])]
    points = [point for point in plan.points if point.id in set(source.points())]
    cells = calendar(found, source, points, shown, plan.timezone)
    sheet = Sheet(shown)
    sheet.text(fitted(plan.name or "Recording", 42), HEADING, bold=True)
    sheet.text(heading(shown, plan.timezone), TEXT)
    sheet.text(alarms_in_words(found), TEXT, colour=PLAIN)
    out = int(np.count_nonzero(cells.cells > QUIET))
    watched = int(np.count_nonzero(cells.cells >= QUIET))
    sheet.text(f"{out:,} of {watched:,} hours with something out of its band", TEXT, colour=PLAIN)
    sheet.gap(16)
    _key(sheet)
    sheet.gap(6)
    _draw(sheet, cells)
    _by_rule(sheet, found, shown)
    sheet.save(path)


def _draw(sheet: Sheet, cells: Calendar) -> None:
    rows = len(cells.cells)
    each = 34 if rows <= _TALL_UPTO else 7
    width = (WIDTH - _LEFT - MARGIN) / 24

    def names(axes: Axes) -> None:
        for hour in range(0, 24, 3):
            axes.text(_LEFT + hour * width, 0.4, f"{hour:02d}:00", size=SMALL, color=PLAIN, ha="left", va="center")

    sheet.row(36, names, wide=True)

    def draw(axes: Axes) -> None:
        axes.set_ylim(rows, 0)
        for row in range(rows):
            _name(axes, cells, row, each)
        for value in range(UNHEARD, len(LOOKS) + 1):
            where = np.argwhere(cells.cells == value)
            corners = np.column_stack((_LEFT + where[:, 1] * width, where[:, 0]))
            _cells(axes, corners, width, value, tall=each > 20)
        for hour in range(3, 24, 3):
            axes.axvline(_LEFT + hour * width, color="white", lw=1.6, zorder=4)

    sheet.row(rows * each, draw, wide=True)
    sheet.row(36, names, wide=True)


def _name(axes: Axes, cells: Calendar, row: int, each: int) -> None:
    date = cells.date(row)
    if each > 20:
        weight = "bold" if date.day == 1 or row == 0 else "normal"
        text = f"{date:%a} {date.day} {date:%b}" if weight == "bold" or date.weekday() == 0 else f"{date:%a} {date.day}"
        axes.text(_LEFT - 12, row + 0.5, text, size=SMALL, color=PLAIN, ha="right", va="center", weight=weight)
    elif date.day == 1 or (row == 0 and date.day < 20):
        month = f"{date:%b %Y}" if date.month == 1 or row == 0 else f"{date:%b}"
        axes.text(_LEFT - 12, row, month, size=SMALL, color=PLAIN, ha="right", va="top")
        axes.axhline(row, color=FAINT, lw=0.8, zorder=5)


def _cells(axes: Axes, corners: NDArray[np.float64], width: float, value: int, *, tall: bool) -> None:
    """Cells that hold the same; corners: float64[n, 2]."""
    if not len(corners):
        return
    size = np.array([(0.8, 0.04), (width - 0.8, 0.04), (width - 0.8, 0.96), (0.8, 0.96)])
    if not tall:
        size[:, 1] = (0.0, 0.0, 1.0, 1.0)
    look = list(LOOKS.values())[len(LOOKS) - value] if value > QUIET else None
    colour = look.shade if look else "white" if value == UNHEARD else _QUIET
    # One path for all: a hatch is drawn once a path, which for thousands of cells is a minute's work.
    whole = Outline.make_compound_path_from_polys(np.asarray(corners[:, None, :] + size, np.float64))
    shape = PathPatch(whole, facecolor=colour, linewidth=0, zorder=3 if look else 1)
    if value == UNHEARD:
        shape.set(edgecolor=FAINT, hatch="xxxx")
    axes.add_patch(shape)
    if look is None or not tall:
        return
    ink = "white" if value > 2 else INK
    for x, row in corners.tolist():
        axes.text(x + width / 2, row + 0.52, look.mark, size=SMALL - 3, color=ink, ha="center", va="center", zorder=5)


def _key(sheet: Sheet) -> None:
    def draw(axes: Axes) -> None:
        samples = [(len(LOOKS) - index, name) for index, name in enumerate(LOOKS)]
        samples += [(QUIET, "none"), (UNHEARD, "not heard")]
        for (value, name), x in zip(samples, (24, 200, 340, 510, 640, 790), strict=True):
            _cells(axes, np.array([(x, 0.0)], np.float64), 40, value, tall=True)
            axes.text(x + 48, 0.5, name, size=SMALL, color=PLAIN, va="center")

    sheet.row(36, draw, wide=True)


def _by_rule(sheet: Sheet, found: Sequence[Episode], span: tuple[int, int]) -> None:
    """How long each alarm stood in all, longest first."""
    totals: dict[tuple[str, str], list[int]] = {}
    looks: dict[tuple[str, str], Look] = {}
    for one in found:
        start, end = max(one.onset, span[0]), span[1] if one.ended is None else min(one.ended, span[1])
        totals.setdefault((one.rule, one.side), []).append(max(end - start, 0))
        looks[one.rule, one.side] = LOOKS[one.priority]
    ordered = sorted(totals, key=lambda name: -sum(totals[name]))
    if not ordered:
        return
    longest = max(sum(totals[ordered[0]]), HOUR)
    sheet.gap(20)
    sheet.text("How long each alarm stood, from its onset", TEXT, colour=PLAIN)
    for name in ordered[:_MOST_RULES]:
        _total(sheet, called(*name), looks[name], totals[name], longest)
    if len(ordered) > _MOST_RULES:
        sheet.text(f"and {len(ordered) - _MOST_RULES} more", SMALL, colour=PLAIN)


def _total(sheet: Sheet, name: str, look: Look, spans: Sequence[int], longest: int) -> None:
    told = f"{show_span(sum(spans))}, " + ("once" if len(spans) == 1 else f"{len(spans)} times")
    length = max(sum(spans) / longest * (WIDTH - 2 * MARGIN - 36), 3)

    def draw(axes: Axes) -> None:
        axes.text(MARGIN, 0.7, look.mark, size=TEXT, color=look.colour, va="center")
        axes.text(MARGIN + 36, 0.7, fitted(name, 36), size=TEXT, color=INK, va="center", weight="bold")
        axes.text(WIDTH - MARGIN, 0.7, told, size=SMALL, color=PLAIN, va="center", ha="right")
        bar = Rectangle((MARGIN + 36, 0.12), length, 0.2, fc=look.colour, ec="white", hatch=look.hatch, lw=0)
        axes.add_patch(bar)

    sheet.row(70, draw, wide=True)
