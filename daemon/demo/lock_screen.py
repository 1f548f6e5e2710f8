"""How does a message look on a locked phone?"""

from __future__ import annotations

import datetime as dt

from rich.cells import cell_len, set_cell_size
from rich.console import Console
from rich.style import Style
from rich.text import Text

WIDTH = 38
"""Letters on a line of the message."""
_DIM = Style(dim=True)
_BOLD = Style(bold=True)
_MARK = Style(bold=True, color="red")


def lock_screen(moment: dt.datetime, owner: str, title: str, body: str, *, urgent: bool) -> list[Text]:
    """The lines of a phone's screen at a local time; `urgent` marks the title.

    Line ends within the body are kept; a word longer than a line is broken.
    """
    lines = [_edge("╭", "╮"), _line(Text(f"{moment:%H:%M}", _BOLD), centred=True)]
    lines.append(_line(Text(f"{moment:%A} {moment.day} {moment:%B}", _DIM), centred=True))
    lines.append(_line(Text()))
    lines.append(_line(_spread("Tidebed", _clean(owner).replace("\n", " "))))
    head = Text(_clean(title), _BOLD)
    lines += [_line(part) for part in _wrapped(Text.assemble(("◆ ", _MARK), head) if urgent else head)]
    lines += [_line(part) for part in _wrapped(Text(_clean(body)))]
    lines.append(_edge("╰", "╯"))
    return lines


_MEASURE = Console(width=WIDTH)


def _clean(text: str) -> str:
    """Without what would move the cursor; line ends stay."""
    return "".join(sign if sign.isprintable() or sign == "\n" else " " for sign in text)


def _wrapped(text: Text) -> list[Text]:
    parts = list(text.wrap(_MEASURE, WIDTH))
    for part in parts:
        part.rstrip()
    return parts or [Text()]


def _edge(left: str, right: str) -> Text:
    return Text(left + "─" * (WIDTH + 2) + right, _DIM)


def _line(text: Text, *, centred: bool = False) -> Text:
    room = WIDTH - text.cell_len
    before = room // 2 if centred else 0
    return Text.assemble(("│ ", _DIM), " " * before, text, " " * (room - before), (" │", _DIM))


def _spread(left: str, right: str) -> Text:
    room = WIDTH - cell_len(left) - 1
    shown = right if cell_len(right) <= room else set_cell_size(right, room - 1) + "…"
    return Text(left + " " * (WIDTH - cell_len(left) - cell_len(shown)) + shown, _DIM)
