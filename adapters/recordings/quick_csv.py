"""Which fields stand in a stretch of CSV, found in columns by pyarrow where that gives exactly what `split` gives?"""

from __future__ import annotations

import functools
import importlib.util
from collections.abc import Collection
from typing import Any

import numpy as np
from numpy.typing import NDArray

from adapters.recordings.fields import PADDING, Column, Field, Repeating, Split, trimmed
from rules.block import Times

WORTH = 1 << 20
"""Bytes from which on a stretch is worth it: importing pyarrow costs as much as reading some megabytes without."""

_YEAR_1 = -62_135_596_800_000
_SHAPES = {20: ((10, b"T"), (19, b"Z")), 24: ((10, b"T"), (19, b"."), (23, b"Z"))}
"""Length -> what stands where in the two usual spellings of an instant. Others are left to our own parser."""


@functools.cache
def is_installed() -> bool:
    """Whether the extra `fast` is there."""
    return importlib.util.find_spec("pyarrow") is not None


def split_quickly(
    stretch: bytes, fields: int, first_line: int, time: int, unwanted: Collection[int] = ()
) -> Split | None:
    """As `split`, and with the instants in field number `time`; None for what needs a closer look.

    unwanted: numbers of fields that nobody will ask for. A stretch with quotes, a NUL byte, a blank line, a line with
    another number of fields, or an end of line other than LF and CRLF needs a closer look.
    """
    if len(stretch) < WORTH or not is_installed() or any(mark in stretch for mark in (b'"', b"\0")):
        return None
    if b"\r" in stretch and stretch.count(b"\r") != stretch.count(b"\r\n"):
        return None
    import pyarrow as pa
    from pyarrow import csv as reader

    names = [str(place) for place in range(fields)]
    wanted = [name for place, name in enumerate(names) if place not in unwanted]
    types = {name: pa.dictionary(pa.int32(), pa.binary()) for name in wanted} | {names[time]: pa.string()}
    try:
        table = reader.read_csv(
            pa.BufferReader(stretch),
            read_options=reader.ReadOptions(column_names=names, block_size=len(stretch), use_threads=False),
            parse_options=reader.ParseOptions(quote_char=False, ignore_empty_lines=False),
            convert_options=reader.ConvertOptions(
                column_types=types, include_columns=wanted, strings_can_be_null=False, check_utf8=False
            ),
        )
    except pa.ArrowInvalid:
        return None
    if any(table[name].num_chunks != 1 for name in wanted):
        return None
    columns: list[Field] = [NOTHING] * fields
    times = _instants(table[names[time]].chunk(0))
    for place, name in enumerate(names):
        if place == time and times is None:
            columns[place] = written = _column(table[name].chunk(0))
            if not bool(written.lengths.all()):
                return None  # perhaps a blank line, which is filled up with empty fields
        elif place != time and place not in unwanted:
            array = table[name].chunk(0)
            columns[place] = Repeating(_column(array.dictionary), array.indices.to_numpy())
    lines = first_line + np.arange(len(table), dtype=np.int64)
    return Split(columns, lines, {}, len(table), times)


NOTHING = Column(np.zeros(PADDING, np.uint8), np.empty(0, np.int64), np.empty(0, np.int64))


def _column(array: Any) -> Column:
    """The texts of an array of strings, without the blanks around them."""
    edges, text = _texts(array)
    return trimmed(np.concatenate((text, np.zeros(PADDING, np.uint8))), edges[:-1], edges[1:])


def _texts(array: Any) -> tuple[NDArray[np.int64], NDArray[np.uint8]]:
    """(where each text begins, and the last ends: int64[n + 1], all texts)."""
    _, offsets, data = array.buffers()
    edges = np.frombuffer(offsets, np.int32)[array.offset : array.offset + len(array) + 1].astype(np.int64)
    return edges, np.frombuffer(b"" if data is None else data, np.uint8)


def _instants(array: Any) -> Times | None:
    """The instants where every text has the same usual shape, in UTC; None where one of them has another, or none."""
    edges, text = _texts(array)
    lengths = np.diff(edges)
    width = int(lengths[0]) if len(lengths) else 0
    if width not in _SHAPES or not bool((lengths == width).all()):
        return None
    grid = text[edges[0] : edges[-1]].reshape(-1, width)
    if not all(bool((grid[:, place] == ord(mark)).all()) for place, mark in _SHAPES[width]):
        return None
    import pyarrow as pa

    try:
        found: Times = array.cast(pa.timestamp("ms", "UTC")).cast(pa.int64()).to_numpy()
    except pa.ArrowInvalid:
        return None
    return found if int(found.min()) >= _YEAR_1 else None
