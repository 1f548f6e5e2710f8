"""Where do the fields of a stretch of CSV lie (RFC 4180, comma, no line feed within a field)?"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

PADDING = 64
"""Zero bytes after the text, so that a field can be looked at beyond its end."""

Bytes = NDArray[np.uint8]
Places = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Column:
    """One field of each of n lines: bytes `text[starts : starts + lengths]`."""

    text: Bytes
    starts: Places
    lengths: Places

    def __len__(self) -> int:
        return len(self.starts)

    def at(self, place: int) -> Bytes:
        """The byte at `place` of each field, 0 beyond its end; 0 <= place < PADDING."""
        found: Bytes = self.text[self.starts + place]
        return np.where(self.lengths > place, found, 0)

    def take(self, rows: Mask) -> Column:
        """The fields of some lines."""
        return Column(self.text, self.starts[rows], self.lengths[rows])

    def raw(self, row: int) -> bytes:
        """One field as it stands."""
        start = int(self.starts[row])
        return self.text[start : start + int(self.lengths[row])].tobytes()

    def string(self, row: int) -> str:
        """One field as text; bytes that are not UTF-8 show as escapes."""
        return self.raw(row).decode("utf-8", "backslashreplace")


@dataclass(frozen=True, slots=True)
class Repeating:
    """One field of each of n lines, each text kept once: that of line i is `texts` number `which[i]`."""

    texts: Column
    which: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.which)

    def take(self, rows: Mask) -> Repeating:
        """The fields of some lines."""
        return Repeating(self.texts, self.which[rows])

    def raw(self, row: int) -> bytes:
        """One field as it stands."""
        return self.texts.raw(int(self.which[row]))

    def string(self, row: int) -> str:
        """One field as text; bytes that are not UTF-8 show as escapes."""
        return self.texts.string(int(self.which[row]))


@dataclass(frozen=True, slots=True)
class Numbers:
    """A field of each of n rows that needs no parsing: `mantissa / 10^places`, or none; see decimals.py."""

    mantissa: NDArray[np.int64]
    places: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.mantissa)

    def take(self, rows: Mask) -> Numbers:
        """The fields of some rows."""
        return Numbers(self.mantissa[rows], self.places[rows])

    def raw(self, row: int) -> bytes:
        """One field as it could have been written."""
        return str(Decimal(int(self.mantissa[row])).scaleb(-int(self.places[row]))).encode()

    def string(self, row: int) -> str:
        """One field as text."""
        return self.raw(row).decode()


Field = Column | Repeating | Numbers


@dataclass(frozen=True, slots=True)
class Split:
    """The regular lines of a stretch, and what is wrong with the others.

    columns: one a field, blanks around it cut off; lines: int64[n], line numbers; faults: line number -> reason;
    count: lines in the stretch; times: int64[n], the instants of the time's field (ms UTC) where they are known, and
    untimed: row -> reason for those that have none.
    """

    columns: Sequence[Field]
    lines: NDArray[np.int64]
    faults: dict[int, str]
    count: int
    times: NDArray[np.int64] | None = None
    untimed: dict[int, str] = field(default_factory=dict)


def split(stretch: bytes, fields: int, first_line: int) -> Split:
    """Find the fields of a stretch of whole lines, where each line should have `fields` (two or more) of them.

    first_line: number of its first line. Blank lines are passed over.
    """
    if b'"' in stretch:
        stretch = _unquote(stretch)
    text = np.frombuffer(stretch + bytes(PADDING), dtype=np.uint8)
    body = text[: len(stretch)]
    feeds = np.flatnonzero(body == 10)
    starts = np.concatenate(([0], feeds[:-1] + 1))
    ends = feeds - ((text[feeds - 1] == 13) & (feeds > starts))
    commas = np.flatnonzero(body == 44)
    good, grid = _regular(commas, starts, ends, feeds, fields)
    faults: dict[int, str] = {}
    if not good.all():
        counts = np.bincount(np.searchsorted(feeds, commas), minlength=len(feeds))
        for row in np.flatnonzero(~good & (ends > starts)):
            found = int(counts[row]) + 1
            faults[first_line + int(row)] = f"{found} field{'s' if found > 1 else ''} where the header has {fields}"
    for mark, reason in ((34, "a quoted field holds a comma, a quote or a line end"), (0, "a NUL byte")):
        marks = np.flatnonzero(body == mark)
        if len(marks):
            spoiled = np.zeros(len(feeds), np.bool_)
            spoiled[np.searchsorted(feeds, marks)] = True
            faults.update((first_line + int(row), reason) for row in np.flatnonzero(spoiled))
            grid = grid[~spoiled[good]]
            good &= ~spoiled
    edges = np.column_stack((starts[good] - 1, grid, ends[good]))
    columns = [trimmed(text, edges[:, i] + 1, edges[:, i + 1]) for i in range(fields)]
    return Split(columns, first_line + np.flatnonzero(good), faults, len(feeds))


def _regular(commas: Places, starts: Places, ends: Places, feeds: Places, fields: int) -> tuple[Mask, Places]:
    """Which lines have the right number of commas, and where these are: int64[lines, fields - 1]."""
    if len(commas) == len(feeds) * (fields - 1):
        grid = commas.reshape(len(feeds), fields - 1)
        if bool(np.all(grid[:, 0] >= starts) and np.all(grid[:, -1] <= ends)):
            return np.ones(len(feeds), np.bool_), grid
    owner = np.searchsorted(feeds, commas)
    good = np.bincount(owner, minlength=len(feeds)) == fields - 1
    return good, commas[good[owner]].reshape(-1, fields - 1)


def trimmed(text: Bytes, starts: Places, ends: Places) -> Column:
    """The fields without the blanks around them."""
    starts = starts + ((text[starts] == 32) & (starts < ends))
    ends = ends - ((text[ends - 1] == 32) & (starts < ends))
    # One blank after a comma is common; more of them are rare enough to look at each.
    for row in np.flatnonzero(((text[starts] == 32) | (text[ends - 1] == 32)) & (starts < ends)):
        field = text[starts[row] : ends[row]].tobytes()
        starts[row] += len(field) - len(field.lstrip(b" "))
        ends[row] -= len(field) - len(field.rstrip(b" ")) if field.strip(b" ") else 0
    return Column(text, starts, ends - starts)


def _unquote(stretch: bytes) -> bytes:
    """The stretch with the quotes taken off where the fields do not need them; other lines stay as they are."""
    lines = stretch.split(b"\n")
    for index, line in enumerate(lines):
        if b'"' in line:
            try:
                (fields,) = csv.reader([line.decode("utf-8")], strict=True)
            except (csv.Error, UnicodeDecodeError, ValueError):
                continue
            if not any(mark in field for field in fields for mark in ',"\r\n'):
                lines[index] = ",".join(fields).encode("utf-8")
    return b"\n".join(lines)
