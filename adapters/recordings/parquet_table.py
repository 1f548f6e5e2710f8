"""Which readings stand in a Parquet file? Long form, or wide, as in CSV; with the extra `fast`."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np

from adapters.recordings import arrays
from adapters.recordings.fields import Field, Split
from adapters.recordings.gathered import Gathered
from adapters.recordings.instants import LocalTime
from adapters.recordings.opened import Opened
from adapters.recordings.quick_csv import NOTHING, is_installed
from adapters.recordings.recording import RecordingRefused
from adapters.recordings.table import LongTable, WideTable

INSTALL = "pip install pyarrow"
_FIELDS = 1 << 17
"""Fields that are unpacked at a time: what that takes in memory goes with them."""
_BUFFER = 1 << 16


def read_parquet(opened: Opened, into: Gathered, zone: dt.tzinfo) -> None:
    """Add what a Parquet file holds, a stretch of rows at a time; a bad line's number is that of its row, from 1.

    Raises RecordingRefused where pyarrow is not installed, the file is damaged, or its columns make no sense.
    """
    if not is_installed():
        raise RecordingRefused(f"{opened.path}: reading Parquet needs the extra `fast`: {INSTALL}")
    import pyarrow as pa
    from pyarrow import parquet

    # The default pool keeps what was freed: a year in long form peaks 18 MB higher with it.
    pa.set_memory_pool(pa.system_memory_pool())
    row = 1
    try:
        with parquet.ParquetFile(opened.path, buffer_size=_BUFFER, pre_buffer=False) as file:
            names = file.schema_arrow.names
            local = LocalTime(zone)
            plain = [name.strip().casefold() for name in names]
            if "point" in plain and "value" in plain:
                table: LongTable | WideTable = LongTable(opened.path, plain, into, local)
            else:
                table = WideTable(opened.path, [name.strip() for name in names], into, local)
            wanted = [place for place in range(len(names)) if place not in table.unwanted]
            named = [names[place] for place in wanted]
            for batch in file.iter_batches(max(_FIELDS // len(named), 1024), columns=named, use_threads=False):
                by_place = dict(zip(wanted, batch.columns, strict=True))
                row += table.take(_split(opened, table, names, by_place, row, local))
            into.twice += local.twice
    except (pa.ArrowException, OSError) as error:
        where = f" from row {row:,} on" if row > 1 else ""
        told = " ".join(str(error).split())
        raise RecordingRefused(
            f"{opened.path}: no Parquet, damaged or cut short{where}; copy or write it again: {told}"
        ) from None


def _split(
    opened: Opened,
    table: LongTable | WideTable,
    names: list[str],
    by_place: dict[int, Any],
    row: int,
    local: LocalTime,
) -> Split:
    columns: list[Field] = [NOTHING] * len(names)
    for place, array in by_place.items():
        try:
            if place == table.time:
                times, reasons = arrays.instants(array, local)
            elif place in table.numeric:
                columns[place] = arrays.numbers(array)
            else:
                columns[place] = arrays.texts(array)
        except RecordingRefused as error:
            raise RecordingRefused(f"{opened.path}: column {names[place]}: {error}") from None
    lines = row + np.arange(len(times), dtype=np.int64)
    return Split(columns, lines, {}, len(times), times, reasons)
