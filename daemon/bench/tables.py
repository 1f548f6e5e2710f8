"""How is a table of short cells fitted to a terminal? The last column gives way, then the names."""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

_BETWEEN = 2
_LAST, _NAMES = 10, 16
"""To how many letters the last column, and after it a column of names, may shrink."""


def print_table(
    console: Console, titles: Sequence[str], rows: Sequence[Sequence[str | Text]], *, names: str = "", right: str = ""
) -> None:
    """Print rows of cells, which may have lines of their own, no wider than the terminal.

    names: the title of the column that may be folded where the last one's shrinking is not enough; right: the title of
    the column that is set to the right.
    """
    cells = [titles, *rows]
    widths = [max(cell_len(line) for row in cells for line in str(row[i]).split("\n")) for i in range(len(titles))]
    excess = sum(widths) + _BETWEEN * (len(widths) - 1) - console.width
    for place, least in ((len(widths) - 1, _LAST), (titles.index(names) if names else -1, _NAMES)):
        if excess > 0 and place >= 0:
            taken = min(excess, max(widths[place] - least, 0))
            widths[place] -= taken
            excess -= taken
    table = Table(box=None, pad_edge=False, padding=(0, _BETWEEN, 0, 0), header_style="dim")
    for title, width in zip(titles, widths, strict=True):
        table.add_column(title, width=width, overflow="fold", justify="right" if right and title == right else "left")
    for row in rows:
        table.add_row(*row)
    console.print(table)
