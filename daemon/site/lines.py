"""On which line of a TOML text does each key stand?

The parser of the standard library keeps no lines, so this walks the text a second time. It is given only text which
that parser has accepted, and it is believed only where it finds exactly the keys that the parser found: a line is
right, or it is absent.
"""

from __future__ import annotations

import tomllib
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence

Path = tuple[str | int, ...]
"""Keys and positions from the root: `("rule", 2, "evidence", 0, "under")`."""

_BARE = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")


class _Lost(Exception):
    """The walk met something that it does not understand."""


def key_lines(text: str, data: Mapping[str, object]) -> dict[Path, int]:
    """Path -> 1-based line of its key, table header or array element; empty where the walk and the parser disagree.

    `data` is what tomllib made of `text`.
    """
    walk = _Walk(text.replace("\r\n", "\n"))
    try:
        walk.document()
    except _Lost:
        return {}
    return walk.lines if set(walk.lines) == set(paths(data)) else {}


def paths(value: object, at: Path = ()) -> Iterator[Path]:
    """Every path below a parsed value."""
    inside: Sequence[tuple[str | int, object]] = ()
    if isinstance(value, Mapping):
        inside = list(value.items())
    elif isinstance(value, list):
        inside = list(enumerate(value))
    for key, below in inside:
        yield (*at, key)
        yield from paths(below, (*at, key))


class _Walk:
    """One pass over a text; `at` is the next character, `table` the path of the table that keys now go to."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.table: Path = ()
        self.lines: dict[Path, int] = {}
        self.headed: set[Path] = set()
        self.lengths: dict[Path, int] = {}
        self.starts = [0, *(index + 1 for index, char in enumerate(text) if char == "\n")]

    def document(self) -> None:
        while True:
            self.skip(" \t\n", comments=True)
            if self.at >= len(self.text):
                return
            if self.peek() == "[":
                self.header()
            else:
                self.pair(self.table)
            self.skip(" \t", comments=True)
            if self.at < len(self.text):
                self.take("\n")

    def header(self) -> None:
        line = self.line()
        array = self.text.startswith("[[", self.at)
        self.take("[[" if array else "[")
        parts = self.key()
        self.take("]]" if array else "]")
        path: Path = ()
        for part in parts[:-1]:
            path = self.newest((*path, part))
            self.lines.setdefault(path, line)
        path = (*path, parts[-1])
        if array:
            self.lines.setdefault(path, line)
            self.lengths[path] = self.lengths.get(path, 0) + 1
            path = self.newest(path)
        if path not in self.headed:
            self.lines[path] = line
            self.headed.add(path)
        self.table = path

    def newest(self, path: Path) -> Path:
        """The last table of an array of tables, or the path itself."""
        return (*path, self.lengths[path] - 1) if path in self.lengths else path

    def pair(self, table: Path) -> None:
        line = self.line()
        path = table
        for part in self.key():
            path = (*path, part)
            self.lines.setdefault(path, line)
        self.take("=")
        self.skip(" \t")
        self.value(path)

    def key(self) -> list[str]:
        parts = [self.key_part()]
        while self.peek() == ".":
            self.take(".")
            parts.append(self.key_part())
        return parts

    def key_part(self) -> str:
        self.skip(" \t")
        start = self.at
        if self.peek() in ('"', "'"):
            self.string()
            part = str(tomllib.loads(f"key = {self.text[start : self.at]}")["key"])
        else:
            while self.peek() in _BARE and self.peek():
                self.at += 1
            part = self.text[start : self.at]
            if not part:
                raise _Lost
        self.skip(" \t")
        return part

    def value(self, path: Path) -> None:
        first = self.peek()
        if first in ('"', "'"):
            self.string()
        elif first == "[":
            self.array(path)
        elif first == "{":
            self.inline_table(path)
        else:
            start = self.at
            while self.peek() and self.peek() not in ",]}#\n":
                self.at += 1
            if self.at == start:
                raise _Lost

    def array(self, path: Path) -> None:
        self.take("[")
        index = 0
        while True:
            self.skip(" \t\n", comments=True)
            if self.peek() == "]":
                break
            self.lines[(*path, index)] = self.line()
            self.value((*path, index))
            index += 1
            self.skip(" \t\n", comments=True)
            if self.peek() != ",":
                break
            self.take(",")
        self.take("]")

    def inline_table(self, path: Path) -> None:
        self.take("{")
        self.skip(" \t\n", comments=True)
        while self.peek() != "}":
            self.pair(path)
            self.skip(" \t\n", comments=True)
            if self.peek() != ",":
                break
            self.take(",")
            self.skip(" \t\n", comments=True)
        self.take("}")

    def string(self) -> None:
        quote = self.peek()
        fence = quote * 3 if self.text.startswith(quote * 3, self.at) else quote
        self.at += len(fence)
        while not self.text.startswith(fence, self.at):
            if self.at >= len(self.text):
                raise _Lost
            self.at += 2 if quote == '"' and self.peek() == "\\" else 1
        self.at += len(fence)
        if len(fence) == 3:  # one or two quotes may stand right before the closing three
            while self.peek() == quote:
                self.at += 1

    def skip(self, blanks: str, *, comments: bool = False) -> None:
        while self.peek() and (self.peek() in blanks or (comments and self.peek() == "#")):
            if self.peek() == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            else:
                self.at += 1

    def take(self, expected: str) -> None:
        if not self.text.startswith(expected, self.at):
            raise _Lost
        self.at += len(expected)

    def peek(self) -> str:
        return self.text[self.at : self.at + 1]

    def line(self) -> int:
        return bisect_right(self.starts, self.at)
