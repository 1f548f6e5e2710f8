"""How do whole-number columns fit into a JSON checkpoint? Differences, compressed, as text."""

from __future__ import annotations

import base64
import binascii
import zlib

import numpy as np
from numpy.typing import NDArray


def pack(*columns: NDArray[np.int64]) -> str:
    """Columns int64[n] of one length as text; empty text for none."""
    if not len(columns[0]):
        return ""
    steps = np.concatenate(columns, dtype="<i8")
    # All but the first of each column; numpy's own diff takes ten times as long for the few values of most columns.
    of_each = steps.reshape(len(columns), -1)
    of_each[:, 1:] -= of_each[:, :-1].copy()
    return binascii.b2a_base64(zlib.compress(steps.tobytes(), 1), newline=False).decode("ascii")


def unpack(text: str, count: int) -> tuple[NDArray[np.int64], ...]:
    """The `count` columns that `pack` was given."""
    if not text:
        return tuple(np.empty(0, np.int64) for _ in range(count))
    # What is compressed begins with "e" in base64, and with "c" in base85, in which checkpoints were once written.
    data = base64.b85decode(text) if text.startswith("c") else binascii.a2b_base64(text)
    steps = np.frombuffer(zlib.decompress(data), dtype="<i8").astype(np.int64)
    return tuple(np.cumsum(part) for part in steps.reshape(count, -1))
