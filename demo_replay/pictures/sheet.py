"""How does a tall picture come together? Rows of a known height, one below the other, all as wide as a phone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from demo_replay.pictures.ink import DPI, INK, PAPER, WIDTH, inches

MARGIN = 26
"""Pixels to the left and right of all text."""
LEFT, RIGHT = 96, MARGIN
"""Margins of what is drawn along the hours, pixels."""
_TOP, _BOTTOM = 24, 28
_TALLEST = 30_000
"""Pixels; what comes below would not be drawn by most viewers."""

Draw = Callable[[Axes], None]


class Sheet:
    """Rows are added from the top; each draws into axes of its own. In y, 0 is a row's bottom and 1 its top."""

    def __init__(self, span: tuple[int, int]) -> None:
        self.span = span
        self._rows: list[tuple[float, bool, Draw]] = []
        self.height = float(_TOP + _BOTTOM)

    @property
    def pixels(self) -> int:
        """How wide the span is drawn."""
        return WIDTH - LEFT - RIGHT

    def x(self, ms: float) -> float:
        """Where a moment lies along the hours: hours since the span began."""
        return (ms - self.span[0]) / 3_600_000

    def inside(self, ms: int) -> float:
        """As `x`, with what lies outside the span moved to its edge."""
        return self.x(min(max(ms, self.span[0]), self.span[1]))

    def row(self, height: float, draw: Draw, *, wide: bool = False) -> None:
        """A row `height` pixels tall; `wide`: over the whole width, in pixels, else along the hours."""
        if self.height + height <= _TALLEST:
            self._rows.append((height, wide, draw))
            self.height += height

    def gap(self, height: float) -> None:
        """Empty space."""
        self.height += height
        self._rows.append((height, True, lambda axes: None))

    def text(self, text: str, size: float, *, bold: bool = False, colour: str = INK) -> None:
        """A line of text over the whole width; the caller sees to it that it fits."""
        height = size * DPI / 72 * 1.35

        def draw(axes: Axes) -> None:
            weight = "bold" if bold else "normal"
            axes.text(MARGIN, 0.5, text, size=size, color=colour, weight=weight, va="center", ha="left")

        self.row(height, draw, wide=True)

    def save(self, path: Path) -> None:
        """Draw every row and write the PNG. Raises OSError."""
        figure = Figure(figsize=(inches(WIDTH), inches(self.height)), dpi=DPI, facecolor=PAPER)
        FigureCanvasAgg(figure)
        top = self.height - _TOP
        for height, wide, draw in self._rows:
            top -= height
            left, width = (0, WIDTH) if wide else (LEFT, self.pixels)
            axes = figure.add_axes((left / WIDTH, top / self.height, width / WIDTH, height / self.height))
            axes.set_facecolor("none")
            axes.set_xlim((0, WIDTH) if wide else (0, max(self.x(self.span[1]), 1e-6)))
            axes.set_ylim(0, 1)
            axes.set_xticks([])
            axes.set_yticks([])
            for spine in axes.spines.values():
                spine.set_visible(False)
            draw(axes)
        figure.savefig(path, format="png")
