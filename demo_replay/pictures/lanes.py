"""How are alarms, decisions and labels drawn along the hours: a lane each, with its name above it?"""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from demo_replay.episodes import Episode
from demo_replay.labels import Label
from demo_replay.pictures.ink import FAINT, GRID, INK, LOOKS, PLAIN, SMALL, TEXT, WIDTH, Look
from demo_replay.pictures.sheet import MARGIN, Sheet
from rules.events import Event
from rules.showing import fitted

_NAME, _BAR, _SMALL_BAR, _BETWEEN = 34, 28, 16, 12
_LONGEST = 66
_LEAST = 5
"""A bar is at least so many pixels long, so that a short alarm is seen."""

Ticks = Sequence[tuple[int, str]]


def hour_lines(sheet: Sheet, axes: Axes, hours: Ticks) -> None:
    """Faint lines at the hours that are named below."""
    for at, text in hours:
        axes.axvline(sheet.x(at), color=GRID, lw=1.2 if ":" not in text else 0.7, zorder=0)


def hour_names(sheet: Sheet, hours: Ticks) -> None:
    """A row with the hours' names."""

    def draw(axes: Axes) -> None:
        for at, text in hours:
            part = sheet.x(at) / max(sheet.x(sheet.span[1]), 1e-6)
            side = "left" if part < 0.03 else "right" if part > 0.97 else "center"
            weight = "normal" if ":" in text else "bold"
            axes.text(sheet.x(at), 0.5, text, size=SMALL, color=PLAIN, ha=side, va="center", weight=weight)

    sheet.row(32, draw)


def _name(sheet: Sheet, mark: str, colour: str, name: str, note: str, *, bold: bool = True) -> None:
    sheet.gap(_BETWEEN if bold else _BETWEEN // 2)

    def draw(axes: Axes) -> None:
        axes.text(MARGIN, 0.45, mark, size=TEXT, color=colour, va="center", ha="left")
        axes.text(
            MARGIN + 36, 0.45, name, size=TEXT, color=INK, va="center", ha="left", weight="bold" if bold else "normal"
        )
        axes.text(WIDTH - MARGIN, 0.45, note, size=SMALL, color=PLAIN, va="center", ha="right")

    sheet.row(_NAME, draw, wide=True)


def alarm_lane(sheet: Sheet, name: str, note: str, found: Sequence[Episode], hours: Ticks) -> None:
    """One side of one rule: hollow while it waits, filled while it stands, hollow and dotted while explained.

    Lower where it was explained all along.
    """
    look = LOOKS[found[0].priority]
    told = any(one.told is not None for one in found)
    _name(sheet, look.mark, look.colour, name, note, bold=told)

    def draw(axes: Axes) -> None:
        hour_lines(sheet, axes, hours)
        axes.axhline(0.06, color=GRID, lw=1)
        height = look.height * 0.9
        least = _LEAST * sheet.x(sheet.span[1]) / sheet.pixels
        for one in found:
            stop = sheet.inside(sheet.span[1] if one.ended is None else one.ended)
            raised = sheet.inside(one.raised)
            heard = stop if one.told is None else sheet.inside(one.told)
            _box(axes, sheet.inside(one.onset), raised, height, look.colour)
            _box(axes, raised, heard, height, FAINT, "....")
            if one.told is not None:
                _filled(axes, heard, max(stop, heard + least), height, look)
            if one.ended is None:
                axes.plot([stop], [0.5], marker=">", color=look.colour, ms=7, clip_on=False, zorder=5)

    sheet.row(_BAR if told else _SMALL_BAR, draw)


def _box(axes: Axes, start: float, stop: float, height: float, colour: str, hatch: str = "") -> None:
    if stop > start:
        axes.add_patch(Rectangle((start, 0.06), stop - start, height, fill=False, ec=colour, hatch=hatch, lw=0.9))


def _filled(axes: Axes, start: float, stop: float, height: float, look: Look) -> None:
    corner, width = (start, 0.06), stop - start
    axes.add_patch(Rectangle(corner, width, height, fc=look.colour, ec="white", hatch=look.hatch, lw=0, zorder=3))
    axes.add_patch(Rectangle(corner, width, height, fill=False, ec=look.colour, lw=1.2, zorder=4))


def stage_lane(sheet: Sheet, name: str, decisions: Sequence[Event], hours: Ticks) -> None:
    """One stage: a grey bar while it is on, ▲ and ▼ where it changes, × where it is held back."""
    inside = [one for one in decisions if sheet.span[0] <= one.t <= sheet.span[1]]
    held = sum(one.body["action"] == "hold" for one in inside)
    engaged = sum(one.body["action"] == "engage" for one in inside)
    notes = ["on once" if engaged == 1 else f"on {engaged} times"] if engaged else []
    notes += [f"held back {held}×"] if held else []
    _name(sheet, "", PLAIN, name, ", ".join(notes))

    def draw(axes: Axes) -> None:
        hour_lines(sheet, axes, hours)
        axes.axhline(0.06, color=GRID, lw=1)
        since: float | None = None
        for one in decisions:
            at = sheet.inside(one.t)
            if one.body["action"] == "engage":
                since = at
            elif one.body["action"] == "release" and since is not None:
                _on(axes, since, at)
                since = None
        if since is not None:
            _on(axes, since, sheet.x(sheet.span[1]))
        for one in inside:
            marker = {"engage": "^", "release": "v"}.get(one.body["action"], "x")
            axes.plot([sheet.x(one.t)], [0.72], marker=marker, color=INK, ms=6, mew=1.2, clip_on=False)

    sheet.row(_BAR, draw)


def _on(axes: Axes, start: float, stop: float) -> None:
    axes.add_patch(Rectangle((start, 0.06), stop - start, 0.5, fc="#bdbdbd", ec=PLAIN, lw=0.8))


def label_lane(sheet: Sheet, label: Label, hours: Ticks) -> None:
    """What a person marked: a bracket over its span, its note above."""
    _name(sheet, "", PLAIN, fitted(label.note or label.rule, _LONGEST), "", bold=False)

    def draw(axes: Axes) -> None:
        hour_lines(sheet, axes, hours)
        start, stop = sheet.inside(label.start_ms), sheet.inside(label.end_ms)
        axes.plot([start, start, stop, stop], [0.15, 0.75, 0.75, 0.15], color=INK, lw=2, clip_on=False)

    sheet.row(_BAR - 4, draw)
