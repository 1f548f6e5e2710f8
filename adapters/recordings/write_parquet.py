"""How are readings written as Parquet? Long form, values as exact decimals; with the extra `fast`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from pathlib import Path
from typing import IO, Any

import numpy as np

from adapters.recordings.write import Batch, batches
from rules.block import Block
from rules.door import as_decimal, decimal_places
from rules.flags import Flag

_ROWS = 1 << 17
"""Readings in a row group: what reading and writing one takes in memory goes with them."""
_DIGITS = 38
_LARGEST = 2**63 - 1


def write_parquet(
    path: Path,
    raw: IO[bytes],
    *,
    stretches: Iterable[Iterable[Block]],
    series: Mapping[str, tuple[str, Fraction]],
    with_flags: bool,
) -> int:
    """As write_stretches: time in ms UTC, point, value as a decimal with the places of the finest resolution, unit."""
    import pyarrow as pa
    from pyarrow import parquet

    names = list(series)
    places = max((decimal_places(resolution) for _, resolution in series.values()), default=0)
    word = pa.dictionary(pa.int32(), pa.string())
    fields = [
        pa.field("time", pa.timestamp("ms", "UTC"), nullable=False),
        pa.field("point", word, nullable=False),
        pa.field("value", pa.decimal128(_DIGITS, places)),
        pa.field("unit", word, nullable=False),
        *([pa.field("flag", pa.uint8(), nullable=False)] if with_flags else []),
    ]
    schema = pa.schema(fields)
    points, units = pa.array(names, pa.string()), pa.array([unit for unit, _ in series.values()], pa.string())
    resolutions = [resolution for _, resolution in series.values()]
    count = 0
    with parquet.ParquetWriter(raw, schema, compression="zstd") as writer:
        for batch in (batch for blocks in stretches for batch in batches(blocks, names, _ROWS)):
            which = pa.array(batch.which.astype(np.int32))
            columns = [
                pa.array(batch.times).cast(schema.field("time").type),
                pa.DictionaryArray.from_arrays(which, points),
                _decimals(batch, resolutions, places),
                pa.DictionaryArray.from_arrays(which, units),
                *([pa.array(batch.flags)] if with_flags else []),
            ]
            writer.write_batch(pa.record_batch(columns, schema=schema))
            count += len(batch.times)
    return count


def _decimals(batch: Batch, resolutions: list[Fraction], places: int) -> Any:
    """The values as decimals with `places`: int64 in the lower half where all fit, else one by one."""
    import pyarrow as pa

    kind = pa.decimal128(_DIGITS, places)
    gone = batch.flags == Flag.MISSING
    steps = [resolution * 10**places for resolution in resolutions]
    largest = int(np.abs(batch.values).max(initial=0)) * max(steps)
    if largest > _LARGEST or any(step.denominator != 1 for step in steps):
        rows = zip(batch.values.tolist(), batch.which.tolist(), gone.tolist(), strict=True)
        return pa.array([None if no else as_decimal(value, resolutions[which]) for value, which, no in rows], kind)
    halves = np.empty((len(gone), 2), np.int64)
    halves[:, 0] = batch.values * np.array([int(step) for step in steps], np.int64)[batch.which]
    halves[:, 1] = halves[:, 0] >> 63
    known = np.packbits(~gone, bitorder="little")
    return pa.Array.from_buffers(kind, len(gone), [pa.py_buffer(known.tobytes()), pa.py_buffer(halves.tobytes())])
