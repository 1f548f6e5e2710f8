"""How is a picture read? A few drawn samples at its foot."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from demo_replay.pictures.ink import BEYOND, FAINT, INK, LOOKS, PLAIN, SMALL
from demo_replay.pictures.sheet import Sheet

_HIGH = LOOKS["high"].colour


def key(sheet: Sheet) -> None:
    """Six samples in two columns, and the priorities."""

    def draw(axes: Axes) -> None:
        _sample(axes, 0, 0, "beyond its limit")
        axes.add_patch(Rectangle((30, 0.70), 60, 0.2, fc=BEYOND, ec="#d4d4d4", hatch="///", lw=0))
        axes.plot([30, 90], [0.72, 0.72], color=PLAIN, lw=1.1)
        axes.plot([30, 90], [0.80, 0.86], color=_HIGH, lw=3.2)
        _sample(axes, 1, 0, "alarm: waits, then stands")
        axes.add_patch(Rectangle((570, 0.70), 18, 0.2, fill=False, ec=_HIGH, lw=1))
        axes.add_patch(Rectangle((588, 0.70), 42, 0.2, fc=_HIGH, ec="white", hatch="////", lw=0))
        _sample(axes, 0, 1, "nothing usable was heard")
        axes.add_patch(Rectangle((30, 0.40), 60, 0.2, fc="white", ec=FAINT, hatch="xx", lw=0))
        _sample(axes, 1, 1, "explained by another alarm")
        axes.add_patch(Rectangle((570, 0.40), 60, 0.2, fill=False, ec=FAINT, hatch="....", lw=0.8))
        _sample(axes, 0, 2, "flag: suspect, fail, missing")
        for x, marker, fill in ((36, "^", "white"), (60, "x", INK), (84, "|", INK)):
            axes.plot([x], [0.2], ls="none", marker=marker, color=INK, mfc=fill, ms=7, mew=1.3)
        _sample(axes, 1, 2, "stage on, off, held back")
        for x, marker in ((576, "^"), (600, "v"), (624, "x")):
            axes.plot([x], [0.2], ls="none", marker=marker, color=INK, ms=6, mew=1.2)

    sheet.row(132, draw, wide=True)

    def priorities(axes: Axes) -> None:
        for index, (name, look) in enumerate(LOOKS.items()):
            x = 30 + 240 * index
            axes.text(x, 0.5, look.mark, size=SMALL, color=look.colour, va="center")
            axes.text(x + 34, 0.5, name, size=SMALL, color=PLAIN, va="center")

    sheet.row(40, priorities, wide=True)


def _sample(axes: Axes, column: int, row: int, text: str) -> None:
    axes.text(110 + 540 * column, 0.8 - 0.3 * row, text, size=SMALL, color=PLAIN, va="center")
