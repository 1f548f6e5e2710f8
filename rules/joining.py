"""What did several points hold at the same instants?"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.block import Counts, Flags, Times
from rules.span import Span


class Held(NamedTuple):
    """What one point held, from each key on. The first key stands for what it held before."""

    keys: NDArray[np.int64]
    counts: Counts
    flags: Flags
    known: NDArray[np.bool_]


def held(span: Span, begin: int = -1, end: int | None = None) -> Held:
    """What a point held before the key `begin`, with each reading and after each end of its hold in [begin, end)."""
    i, s, j, m = 0, 0, len(span.t), len(span.stale)
    if begin >= 0:
        i, s = int(np.searchsorted(span.t, (begin + 1) >> 1)), bisect_left(span.stale, begin)
    if end is not None:
        j, m = int(np.searchsorted(span.t, (end + 1) >> 1)), bisect_left(span.stale, end)
    count, flag, known = span.before or 0, span.before_flag, span.run_start is not None and not s
    if i:
        count, flag = int(span.v[i - 1]), int(span.f[i - 1])
        known = not s or span.stale[s - 1] < 2 * int(span.t[i - 1])
    n, stale = j - i, np.array(span.stale[s:m], np.int64)
    keys = np.concatenate((np.array([begin - 1 if begin >= 0 else -1], np.int64), 2 * span.t[i:j], stale))
    counts = np.concatenate((np.array([count], np.int64), span.v[i:j], np.zeros(len(stale), np.int64)))
    flags = np.concatenate((np.array([flag], np.uint8), span.f[i:j], np.zeros(len(stale), np.uint8)))
    fresh = np.concatenate((np.array([known]), np.ones(n, np.bool_), np.zeros(len(stale), np.bool_)))
    if len(stale):
        order = np.argsort(keys, kind="stable")
        return Held(keys[order], counts[order], flags[order], fresh[order])
    return Held(keys, counts, flags, fresh)


def union(columns: Sequence[NDArray[np.int64]]) -> NDArray[np.int64]:
    """The distinct values of sorted columns, sorted. Runs that are sorted already are merged, not sorted anew."""
    first = columns[0]
    if all(len(column) == len(first) and np.array_equal(column, first) for column in columns[1:]):
        return first
    merged = np.sort(np.concatenate(columns), kind="stable")
    if not len(merged):
        return merged
    return merged[np.concatenate(([True], merged[1:] != merged[:-1]))]


class Together(NamedTuple):
    """Instants at which one of several points had a new reading while all were fresh.

    times: int64[n] ms; counts: int64[n] of each point; flags: uint8[n], the worst of theirs.
    """

    times: Times
    counts: list[Counts]
    flags: Flags


def together(spans: Sequence[Span]) -> Together:
    """The instants of this step at which all of the points speak."""
    times = union([span.t for span in spans])
    fresh = np.ones(len(times), np.bool_)
    flags = np.zeros(len(times), np.uint8)
    columns: list[Counts] = []
    for span in spans:
        own = held(span)
        at = np.searchsorted(own.keys, 2 * times, side="right") - 1
        fresh &= own.known[at]
        flags = np.maximum(flags, own.flags[at])
        columns.append(own.counts[at])
    return Together(times[fresh], [column[fresh] for column in columns], flags[fresh])
