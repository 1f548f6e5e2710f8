"""Where in the file does a part of the parsed data stand, and how is a problem with it said?"""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from daemon.site.lines import Path, key_lines
from daemon.site.problem import Problem

_LONGEST_VALUE = 60


@dataclass(frozen=True, slots=True)
class Located:
    """Parsed data and the line of each of its keys."""

    data: Mapping[str, Any]
    lines: Mapping[Path, int]

    @classmethod
    def of(cls, text: str, data: Mapping[str, Any]) -> Located:
        """`data` is what the TOML parser made of `text`."""
        return cls(data, key_lines(text, data))

    def problem(self, path: Path, what: str, mend: str = "") -> Problem:
        """A problem with the key at `path`; a key that is missing counts as standing in its table."""
        part = path[: _part_length(path)]
        inside = path[len(part) :]
        found, value = self.look_up(path)
        return Problem(self.line(path), self.name(part), _dotted(inside), show(value) if found else "", what, mend)

    def line(self, path: Path) -> int | None:
        """The line of the nearest key at or above `path`; None where lines are not known."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path)

    def look_up(self, path: Path) -> tuple[bool, Any]:
        """Whether something stands at `path`, and what."""
        value: Any = self.data
        for part in path:
            inside: Any = value if isinstance(value, list if isinstance(part, int) else Mapping) else ()
            try:
                value = inside[part]
            except (LookupError, TypeError):
                return False, None
        return True, value

    def name(self, part: Path) -> str:
        """`rule tank.warm`, or `rule number 3` while it has no usable id, or `site`."""
        if len(part) < 2:
            return str(part[0]) if part else ""
        found, own = self.look_up((*part, "id"))
        table, second = part
        if isinstance(second, int):
            return f"{table} {own}" if found and isinstance(own, str) and own else f"{table} number {second + 1}"
        return f"{table}.{second}"


def _part_length(path: Path) -> int:
    """How much of a path names the part: `("rule", 2)`, `("adapter", "mqtt")`, `("site",)`."""
    if len(path) > 1 and (isinstance(path[1], int) or path[0] == "adapter"):
        return 2
    return 1 if len(path) > 1 else 0


def _dotted(path: Path) -> str:
    shown = ""
    for part in path:
        shown += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if shown else part
    return shown


def show(value: object) -> str:
    """A value as it would be written in the file, shortened; empty for a table."""
    if isinstance(value, Mapping) or (isinstance(value, list) and any(isinstance(item, Mapping) for item in value)):
        return ""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, str):
        text = '"' + value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'
    elif isinstance(value, list):
        text = f"[{', '.join(show(item) for item in value)}]"
    elif isinstance(value, dt.datetime | dt.date | dt.time):
        text = value.isoformat()
    elif isinstance(value, Decimal):
        text = format(value, "f") if value.is_finite() and abs(value.adjusted()) < 15 else str(value)
    else:
        text = str(value)
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 3] + "..."


def nearest(word: str, known: Iterable[str], *, kind: str = "") -> str:
    """`did you mean high?`, or the list of what is known where nothing is near."""
    names = list(dict.fromkeys(known))
    near = difflib.get_close_matches(word, names, n=1, cutoff=0.6)
    if near:
        return f"did you mean {near[0]}?"
    if not names:
        return f"there is no {kind}" if kind else ""
    return f"known{' ' + kind if kind else ''}: {', '.join(names)}"
