"""Over which sliding windows did a value hardly move? Exact, and quick where most windows did move."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from rules.block import Counts, Times
from rules.windows import ranges

Positions = NDArray[np.intp]

_FEW = 256
_PARTS = 4
"""A window is sure to hold three of the blocks whose length is a quarter of its readings."""


def narrow(times: Times, values: Counts, at: Positions, length: int, limit: int) -> NDArray[np.bool_]:
    """bool[k]: where `max - min <= limit` over the window `[t - length, t]` that ends at reading `at[k]`.

    at: sorted positions in times and values. Windows reach back to the first reading of the columns at most.
    """
    found = np.zeros(len(at), np.bool_)
    unsure = np.arange(len(at)) if len(at) < _FEW else np.flatnonzero(_may_be_narrow(times, values, length, limit)[at])
    if not len(unsure):
        return found
    at = at[unsure]
    low = np.searchsorted(times, times[at] - length, side="left")
    # Windows far apart are looked at apart, so that what lies between costs nothing.
    cuts = [0, *(np.flatnonzero(low[1:] > at[:-1] + 1) + 1).tolist(), len(at)]
    for begin, end in itertools.pairwise(cuts):
        first, last = int(at[begin]), int(at[end - 1]) + 1
        lows = low[begin:end]
        if last - first > end - begin:
            lows = np.searchsorted(times, times[first:last] - length, side="left")
        moved = ranges(values[:last], lows, first)
        found[unsure[begin:end]] = moved[at[begin:end] - first] <= limit
    return found


def _may_be_narrow(times: Times, values: Counts, length: int, limit: int) -> NDArray[np.bool_]:
    """bool[n]: False only where blocks that lie within the reading's window already differ by more than the limit."""
    sure = length // int(np.max(times[1:] - times[:-1])) + 1
    size = sure // _PARTS
    maybe = np.ones(len(times), np.bool_)
    blocks = len(times) // size if size else 0
    if size < 2 or blocks < _PARTS:
        return maybe
    table = values[: blocks * size].reshape(blocks, size)
    highest, lowest = table.max(axis=1), table.min(axis=1)
    three = np.maximum(np.maximum(highest[2:], highest[1:-1]), highest[:-2])
    three -= np.minimum(np.minimum(lowest[2:], lowest[1:-1]), lowest[:-2])
    # Block b is the last whole one for the readings from its own last one up to the one before the end of the next.
    begin = 3 * size - 1
    wide = np.repeat(three > limit, size)[: len(times) - begin]
    maybe[begin : begin + len(wide)] = ~wide
    return maybe
