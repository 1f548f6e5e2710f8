"""What did several points hold at the same instants?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.block import Counts, Flags, Times
from rules.span import Span


class Held(NamedTuple):
    """What one point held over a step, from each key on. The first key lies before the step."""

    keys: NDArray[np.int64]
    counts: Counts
    flags: Flags
    known: NDArray[np.bool_]


def held(span: Span) -> Held:
    """What a point held before the step, with each reading, and after each end of its hold."""
    stale = np.array(span.stale, np.int64)
    n, m = len(span.t), len(stale)
    keys = np.concatenate((np.array([-1], np.int64), 2 * span.t, stale))
    counts = np.concatenate((np.array([span.before or 0], np.int64), span.v, np.zeros(m, np.int64)))
    flags = np.concatenate((np.array([span.before_flag], np.uint8), span.f, np.zeros(m, np.uint8)))
    known = np.concatenate((np.array([span.run_start is not None]), np.ones(n, np.bool_), np.zeros(m, np.bool_)))
    if m:
        order = np.argsort(keys, kind="stable")
        return Held(keys[order], counts[order], flags[order], known[order])
    return Held(keys, counts, flags, known)


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
