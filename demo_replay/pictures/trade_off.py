"""What does each setting of a rule cost? Alarms against delay, with today's and the recommended setting marked."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator
from numpy.typing import NDArray

from demo_replay.moments import show_span
from demo_replay.pictures.ink import FAINT, GRID, HEADING, INK, PAPER, PLAIN, SMALL, TEXT
from demo_replay.pictures.sheet import MARGIN, Sheet
from demo_replay.tuning.grid import Written
from demo_replay.tuning.scores import Scores
from demo_replay.tuning.tune import Tuned
from rules.durations import DAY, HOUR, MINUTE
from rules.showing import fitted

_TALL = 760
_LINE = 50
_STEPS = [n * MINUTE for n in (1, 2, 5, 10, 20, 30)] + [n * HOUR for n in (1, 2, 3, 6, 12, 24, 48, 96)]
"""Distances between marks of the delay that read well, ms."""

Floats = NDArray[np.float64]


class _Spots(NamedTuple):
    """Where settings lie, float64[n] each: ms of delay (NaN: nothing caught), and alarms."""

    delay: Floats
    alarms: Floats

    def within(self, frame: tuple[float, float]) -> NDArray[np.bool_]:
        """Which lie in a picture that goes so far to the right and up."""
        return (self.delay <= frame[0]) & (self.alarms <= frame[1])


def picture_of_trade_off(name: str, tuned: Tuned, path: Path) -> None:
    """Draw every setting, 1080 pixels wide, to the PNG `path`; `name`: of the place. Raises OSError."""
    trial, labelled = tuned.trial, _labelled(tuned.scores)
    spots, today = _spots(tuned.scores), None if tuned.today is None else _spots(tuned.today)
    frame = _frame(tuned, spots, today)
    sheet = Sheet((0, HOUR))
    sheet.text(fitted(f"{trial.rule.id} {trial.side}", 40), HEADING, bold=True)
    sheet.text(fitted(name, _LINE), TEXT)
    for line in _about(tuned, spots, frame):
        sheet.text(line, TEXT, colour=PLAIN)
    sheet.gap(20)
    sheet.text("False alarms" if labelled else "Alarms a day", TEXT, colour=PLAIN)
    sheet.gap(8)
    sheet.row(_TALL, lambda axes: _draw(axes, tuned, spots, today, frame))
    sheet.gap(52)
    sheet.row(48, lambda axes: _end_text(axes, "longest delay" if labelled else "mean wait for an alarm"), wide=True)
    sheet.gap(8)
    _key(sheet, tuned)
    sheet.save(path)


def _labelled(scores: Scores) -> bool:
    return bool(scores.delays.shape[1])


def _spots(scores: Scores) -> _Spots:
    if _labelled(scores):
        return _Spots(scores.worst_delay(), scores.false.astype(np.float64))
    return _Spots(scores.mean_wait(), scores.a_day)


def _frame(tuned: Tuned, spots: _Spots, today: _Spots | None) -> tuple[float, float]:
    """How far right and up the picture goes: past all that matters, not past the worst setting of thousands."""
    number = tuned.choice.setting
    chosen = np.zeros(len(spots.delay), np.bool_) if number is None else np.arange(len(spots.delay)) == number
    good = tuned.unbeaten & _best_of(tuned) | chosen
    delays = np.concatenate((spots.delay[good], today.delay if today is not None else []))
    alarms = np.concatenate((spots.alarms[good], today.alarms if today is not None else []))
    widest = float(np.nanmax(np.append(delays, 10 * MINUTE)))
    most = float(np.max(np.append(alarms, 1.25 if _labelled(tuned.scores) else 1)))
    return widest * 1.6, most * 1.6


def _best_of(tuned: Tuned) -> NDArray[np.bool_]:
    """Which settings catch as many events as the recommended one."""
    number = tuned.choice.setting
    wanted = tuned.today if number is None else tuned.scores.rows([number])
    return tuned.scores.missed <= (0 if wanted is None else wanted.missed[0])


def _about(tuned: Tuned, spots: _Spots, frame: tuple[float, float]) -> list[str]:
    events = tuned.scores.delays.shape[1]
    tried = int(tuned.possible.sum())
    beyond = int((tuned.possible & ~spots.within(frame)).sum())
    lines = [
        f"{tried:,} settings over {show_span(tuned.scores.span)}"
        + (f", {events} labelled event{'s' if events > 1 else ''}" if events else "")
    ]
    if beyond:
        lines.append(f"{beyond:,} of them lie beyond the picture or {'catch nothing' if events else 'give no alarm'}")
    return lines


def _draw(axes: Axes, tuned: Tuned, spots: _Spots, today: _Spots | None, frame: tuple[float, float]) -> None:
    wide, high = frame
    axes.set_xlim(-0.02 * wide, wide)
    axes.set_ylim(-0.04 * high, high)
    step = next((step for step in _STEPS if wide / step <= 5), 10 * DAY)
    axes.xaxis.set_major_locator(MultipleLocator(step))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda ms, _: show_span(round(ms)) if ms > 0 else "0"))
    axes.yaxis.set_major_locator(MaxNLocator(5, integer=_labelled(tuned.scores)))
    axes.tick_params(labelsize=SMALL, colors=PLAIN, length=0, pad=6)
    axes.grid(color=GRID, lw=1.2)
    axes.set_axisbelow(True)
    inside = tuned.possible & spots.within(frame)
    full = _best_of(tuned)
    _scatter(axes, spots, inside & ~full, "x", FAINT, 34)
    _scatter(axes, spots, inside & full, "o", FAINT, 26)
    front = np.flatnonzero(inside & full & tuned.unbeaten)
    _scatter(axes, spots, inside & full & tuned.unbeaten, "o", INK, 60)
    if len(front) > 1:
        line = np.unique(np.column_stack((spots.delay[front], spots.alarms[front])), axis=0)
        axes.plot(line[:, 0], line[:, 1], color=INK, lw=1.5, zorder=3)
    if today is not None and today.within(frame)[0]:
        axes.scatter(today.delay, today.alarms, s=330, marker="s", facecolors="none", edgecolors=INK, lw=2.6, zorder=6)
    if tuned.choice.setting is not None:
        at = [tuned.choice.setting]
        axes.scatter(spots.delay[at], spots.alarms[at], s=190, marker="D", color=INK, ec=PAPER, lw=1.5, zorder=7)


def _scatter(axes: Axes, spots: _Spots, which: NDArray[np.bool_], mark: str, colour: str, size: float) -> None:
    """Settings that lie on one spot are drawn once."""
    where = np.unique(np.column_stack((spots.delay[which], spots.alarms[which])), axis=0)
    if len(where):
        axes.scatter(where[:, 0], where[:, 1], s=size, marker=mark, color=colour, lw=1.2, zorder=2 if size < 60 else 4)


def _end_text(axes: Axes, text: str) -> None:
    axes.text(axes.get_xlim()[1] - MARGIN, 0.5, text, size=TEXT, color=PLAIN, va="center", ha="right")


def _key(sheet: Sheet, tuned: Tuned) -> None:
    number, grid = tuned.choice.setting, tuned.trial.grid
    if number is not None and number != grid.number_of_today():
        _entry(sheet, "D", f"recommended: {_told(grid.setting(number), tuned.scores.rows([number]))}")
    if tuned.today is not None:
        setting = {axis.key: axis.now_written for axis in grid.axes if axis.now_written is not None}
        keep = ", recommended" if number is None or number == grid.number_of_today() else ""
        _entry(sheet, "s", f"today{keep}: {_told(setting, tuned.today)}")
    _entry(sheet, "-", "settings that no other beats")
    if _labelled(tuned.scores) and bool((tuned.possible & ~_best_of(tuned)).any()):
        _entry(sheet, "x", "settings that miss an event")


def _entry(sheet: Sheet, mark: str, text: str) -> None:
    for number, line in enumerate(textwrap.wrap(text, _LINE + 6)):

        def draw(axes: Axes, line: str = line, first: bool = number == 0) -> None:
            if first and mark == "-":
                axes.plot([MARGIN, MARGIN + 34], [0.5, 0.5], color=INK, lw=1.5)
                axes.scatter([MARGIN + 17], [0.5], s=60, color=INK)
            elif first:
                face, size = ("none", 200) if mark == "s" else (INK, 120)
                if mark == "x":
                    axes.scatter([MARGIN + 17], [0.5], s=60, marker=mark, color=FAINT, lw=1.6)
                else:
                    axes.scatter([MARGIN + 17], [0.5], s=size, marker=mark, facecolors=face, edgecolors=INK, lw=2)
            axes.text(MARGIN + 60, 0.5, line, size=TEXT, color=INK, va="center")

        sheet.row(46, draw, wide=True)


def _told(setting: Mapping[str, Written], one: Scores) -> str:
    words = ", ".join(f"{key} {value}" for key, value in setting.items())
    if not _labelled(one):
        return f"{words}; {one.a_day[0]:.2g} alarms a day"
    worst = float(one.worst_delay()[0])
    late = "" if math.isnan(worst) else f", at most {show_span(round(worst))} late" if worst else " at once"
    events = one.delays.shape[1]
    return f"{words}; {one.caught[0]} of {events} caught{late}, {one.false[0]} false"
