"""Which readings stand in a CSV file?"""

from __future__ import annotations

import csv
import datetime as dt
import itertools
from collections.abc import Iterator

from adapters.recordings.fields import split
from adapters.recordings.gathered import Gathered
from adapters.recordings.instants import LocalTime
from adapters.recordings.opened import Opened
from adapters.recordings.quick_csv import split_quickly
from adapters.recordings.recording import RecordingRefused
from adapters.recordings.table import LongTable, WideTable


def read_csv(opened: Opened, into: Gathered, zone: dt.tzinfo, quick: bool = True) -> None:
    """Add what a CSV file holds; raises RecordingRefused where its header or its bytes make no sense.

    quick: in columns by pyarrow, where the extra `fast` is installed; what is read is the same.
    """
    stretches = opened.stretches()
    header, first_line, rest = _header(opened, stretches)
    names = [name.casefold() for name in header]
    local = LocalTime(zone)
    if "point" in names and "value" in names:
        table: LongTable | WideTable = LongTable(opened.path, names, into, local)
    else:
        table = WideTable(opened.path, header, into, local)
    line = first_line
    for stretch in itertools.chain((rest,) if rest else (), stretches):
        found = split_quickly(stretch, table.fields, line, table.time, table.unwanted) if quick else None
        line += table.take(found or split(stretch, table.fields, line))
    into.twice += local.twice


def _header(opened: Opened, stretches: Iterator[bytes]) -> tuple[list[str], int, bytes]:
    """(the header's fields, number of the line after it, what follows it in the first stretch)."""
    passed = 0
    for stretch in stretches:
        rest = stretch
        while rest:
            line, _, rest = rest.partition(b"\n")
            passed += 1
            if not line.strip():
                continue
            try:
                (fields,) = csv.reader([line.decode("utf-8").strip()], strict=True)
            except (csv.Error, UnicodeDecodeError, ValueError) as error:
                raise RecordingRefused(f"{opened.path}:{passed}: the header cannot be read: {error}") from None
            return [field.strip() for field in fields], passed + 1, rest
    raise RecordingRefused(f"{opened.path}: empty; a recording begins with a header such as time,point,value")
