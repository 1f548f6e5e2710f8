"""How does a sealed day of readings become a few compressed bytes, and whole again?

The bytes are: a CRC-32 of what follows, a format byte, the length of each part, and the parts, each a pcodec column:
times, values, flags, and, where a reading came behind the frontier, the instants from which rules could know it.
"""

from __future__ import annotations

import itertools
import struct
import zlib
from typing import NamedTuple

import numpy as np
import pcodec  # type: ignore[import-untyped]  # the package ships no types
from numpy.typing import NDArray
from pcodec import standalone

from rules.block import Counts, Flags, Times

NOT_BEHIND = np.iinfo(np.int64).min
"""Stands in the column of effective instants for a reading that came in time."""

_FORMAT = 1
_HEAD = struct.Struct("<IBIIII")
_DELTA = pcodec.ChunkConfig(delta_spec=pcodec.DeltaSpec.try_consecutive(1))
_AUTO = pcodec.ChunkConfig()
_SMALL = pcodec.ChunkConfig(enable_8_bit=True)


class Damaged(ValueError):
    """The bytes are not those that were written."""


class Columns(NamedTuple):
    """Readings of one series in order of time, no two at one time.

    times, values: int64[n]; flags: uint8[n]; effective: int64[n], NOT_BEHIND where a reading came in time.
    """

    times: Times
    values: Counts
    flags: Flags
    effective: NDArray[np.int64]


def pack(columns: Columns) -> bytes:
    """Columns of at least one reading as bytes."""
    behind = bool(np.any(columns.effective != NOT_BEHIND))
    parts = (
        standalone.simple_compress(columns.times, _DELTA),
        standalone.simple_compress(columns.values, _AUTO),
        standalone.simple_compress(columns.flags, _SMALL),
        standalone.simple_compress(columns.effective, _AUTO) if behind else b"",
    )
    head = _HEAD.pack(0, _FORMAT, *(len(part) for part in parts))[4:]
    rest = head + b"".join(parts)
    return zlib.crc32(rest).to_bytes(4, "little") + rest


def unpack(data: bytes) -> Columns:
    """What was packed. Raises Damaged where a byte is not what it was."""
    if len(data) < _HEAD.size or zlib.crc32(data[4:]) != int.from_bytes(data[:4], "little"):
        raise Damaged("checksum does not fit")
    _, form, *lengths = _HEAD.unpack_from(data)
    if form != _FORMAT:
        raise Damaged(f"format {form} is not known")
    ends = itertools.accumulate(lengths, initial=_HEAD.size)
    times, values, flags, effective = (data[start:end] for start, end in itertools.pairwise(ends))
    unpacked: Times = standalone.simple_decompress(times)
    return Columns(
        unpacked,
        standalone.simple_decompress(values),
        standalone.simple_decompress(flags),
        standalone.simple_decompress(effective) if effective else np.full(len(unpacked), NOT_BEHIND, np.int64),
    )
