"""Which true events did a person mark? Labels in CSV: `start,end,rule,note`."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from demo_replay.labels import Label
from demo_replay.moment_text import moment_of
from rules.errors import SettingError

HEADER = ["start", "end", "rule", "note"]


class _Rows(Protocol):
    """What csv.reader gives."""

    line_num: int

    def __iter__(self) -> Iterator[list[str]]: ...

    def __next__(self) -> list[str]: ...


def read_labels(path: Path, timezone: str) -> list[Label]:
    """The labels of a file, in its order. Times are RFC 3339 or epoch seconds; without an offset in `timezone`.

    Raises SettingError with the number of the line that is wrong, or why the file cannot be read.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise SettingError(f"labels {path} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise SettingError(f"labels {path} cannot be read: they are no text in UTF-8") from error
    rows = csv.reader(io.StringIO(text, newline=""))
    try:
        return list(_labels(rows, path, timezone))
    except csv.Error as error:
        raise SettingError(f"{path}:{rows.line_num}: {error}") from error


def _labels(rows: _Rows, path: Path, timezone: str) -> Iterator[Label]:
    header = [name.strip().casefold() for name in next(rows, [])]
    if header != HEADER:
        raise SettingError(f"{path}:1: the header is {','.join(header)!r}; labels begin with {','.join(HEADER)}")
    for row in rows:
        if not any(field.strip() for field in row):
            continue
        where = f"{path}:{rows.line_num}"
        if len(row) != len(HEADER):
            raise SettingError(f"{where}: {len(row)} fields; a label has {','.join(HEADER)}")
        start, end = (_moment(text.strip(), timezone, where) for text in row[:2])
        if end < start:
            raise SettingError(f"{where}: the label ends before it starts; swap its times")
        yield Label(start, end, row[2].strip(), row[3].strip())


def _moment(text: str, timezone: str, where: str) -> int:
    moment = moment_of(text, timezone)
    if moment is None:
        raise SettingError(f"{where}: {text!r} is no time; write it as 2026-04-03T02:14:30Z")
    return moment
