"""How does a sealed day of readings become a few compressed bytes, and whole again?

The bytes are: a CRC-32 of what follows, a format byte, the length of each part, and the parts, each a pcodec column:
times, values, flags, where a reading came behind the frontier the instants from which rules could know it, and, where
quality tests said something else than the flag with which a reading came, what they said when it was judged and what
in the end.
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
from rules.flags import Flag

NOT_BEHIND = np.iinfo(np.int64).min
"""Stands in the column of effective instants for a reading that came in time."""

NOT_SAID = 0
"""Stands in the columns of judged and final flags where they are the same as the flag before."""

_FORMAT = 2
_LENGTHS = {1: struct.Struct("<IIII"), 2: struct.Struct("<IIIIII")}
"""By format; the first had no columns of judged and final flags."""
_START = 5
"""The checksum and the format byte."""
_DELTA = pcodec.ChunkConfig(delta_spec=pcodec.DeltaSpec.try_consecutive(1))
_AUTO = pcodec.ChunkConfig()
_SMALL = pcodec.ChunkConfig(enable_8_bit=True)


class Damaged(ValueError):
    """The bytes are not those that were written."""


class Columns(NamedTuple):
    """Readings of one series in order of time, no two at one time.

    times, values: int64[n]; flags: uint8[n], with which they came; effective: int64[n], NOT_BEHIND where a reading came
    in time; judged: uint8[n], the flags by which rules judged them, NOT_SAID where it is that with which they came;
    final: uint8[n], the flags they ended with, NOT_SAID where it is that by which they were judged.
    """

    times: Times
    values: Counts
    flags: Flags
    effective: NDArray[np.int64]
    judged: Flags
    final: Flags

    def last_flags(self) -> Flags:
        """The flag with which each reading ended, uint8[n].

        Whether it has a value is as `flags` says: a calibration that came later may have given it one, or taken it.
        """
        said: Flags = np.where(self.judged == NOT_SAID, self.flags, self.judged)
        ended: Flags = np.where(self.final == NOT_SAID, said, self.final)
        was_missing, is_missing = ended == Flag.MISSING, self.flags == Flag.MISSING
        return np.where(was_missing | is_missing, self.flags, ended)


def pack(columns: Columns) -> bytes:
    """Columns of at least one reading as bytes."""
    behind = bool(np.any(columns.effective != NOT_BEHIND))
    parts = (
        standalone.simple_compress(columns.times, _DELTA),
        standalone.simple_compress(columns.values, _AUTO),
        standalone.simple_compress(columns.flags, _SMALL),
        standalone.simple_compress(columns.effective, _AUTO) if behind else b"",
        *(standalone.simple_compress(said, _SMALL) if said.any() else b"" for said in (columns.judged, columns.final)),
    )
    rest = bytes((_FORMAT,)) + _LENGTHS[_FORMAT].pack(*map(len, parts)) + b"".join(parts)
    return zlib.crc32(rest).to_bytes(4, "little") + rest


def is_whole(data: bytes) -> bool:
    """Whether the bytes are those that were packed, as their checksum tells."""
    return len(data) >= _START and zlib.crc32(data[4:]) == int.from_bytes(data[:4], "little")


def unpack(data: bytes) -> Columns:
    """What was packed. Raises Damaged where a byte is not what it was."""
    if not is_whole(data):
        raise Damaged("checksum does not fit")
    if data[4] not in _LENGTHS:
        raise Damaged(f"format {data[4]} is not known")
    head = _LENGTHS[data[4]]
    if len(data) < _START + head.size:
        raise Damaged("it ends too early")
    ends = itertools.accumulate(head.unpack_from(data, _START), initial=_START + head.size)
    times, values, flags, effective, *said = (data[start:end] for start, end in itertools.pairwise(ends))
    unpacked: Times = standalone.simple_decompress(times)
    judged, final = (
        standalone.simple_decompress(part) if part else np.full(len(unpacked), NOT_SAID, np.uint8)
        for part in said or (b"", b"")
    )
    return Columns(
        unpacked,
        standalone.simple_decompress(values),
        standalone.simple_decompress(flags),
        standalone.simple_decompress(effective) if effective else np.full(len(unpacked), NOT_BEHIND, np.int64),
        judged,
        final,
    )
