"""How far is a long piece of work, and how long will it take? A bar on the terminal, and nothing anywhere else."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator

Step = Callable[[int, int], None]
"""Called with (done, in all)."""


def _nothing(done: int, total: int) -> None:
    """Where nobody looks."""


@contextlib.contextmanager
def progress_bars() -> Iterator[Callable[[str], Step]]:
    """Gives what starts a bar for a named piece of work; all bars are gone at the end.

    They are drawn on standard error, and only where that is a terminal.
    """
    if not sys.stderr.isatty():
        yield lambda name: _nothing
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    # Without colour, which is kept for what is wrong.
    console = Console(stderr=True, no_color=True)
    columns = (TextColumn("{task.description:<18}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"))
    with Progress(*columns, TimeRemainingColumn(), console=console, transient=True) as bars:

        def start(name: str) -> Step:
            task = bars.add_task(name, total=None)
            return lambda done, total: bars.update(task, completed=done, total=total)

        yield start
