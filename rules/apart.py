"""How far apart are several points, and where in a long step can that pass a limit at all?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.edges import UNKNOWN, Edges, in_columns
from rules.joining import held, union
from rules.span import Span
from rules.windows import PIECE
from rules.zones import DOUBT, MANY, WIDE, stretches

_EVER = np.iinfo(np.int64).max
Numbers = NDArray[np.int64]


class Scale(NamedTuple):
    """counts of a point -> whole steps common to all points: `counts * factor + offset`."""

    factor: int
    offset: int


class Farther(NamedTuple):
    """`max - min > limit` among the fresh points, or with `inverted` its opposite; unknown with fewer than two."""

    limit: int
    inverted: bool


def apart(spans: Sequence[Span], scales: Sequence[Scale], told: Sequence[Farther], carry: Sequence[int]) -> list[Edges]:
    """The edges of some statements over one step. scales: of each point; carry: the truth of each before the step."""
    longest = max(spans, key=lambda span: len(span.t))
    begins = np.full(1, -1, np.int64)
    if len(longest.t) >= MANY and all(len(span.t) for span in spans):
        begins = np.concatenate((begins, 2 * longest.t[WIDE::WIDE]))
    settled = [np.full(1, DOUBT)] * len(told) if len(begins) == 1 else _settled(spans, scales, told, begins)
    doubt = np.logical_or.reduce([each == DOUBT for each in settled])
    keys = [begins[~doubt]]
    truths = [[each[~doubt]] for each in settled]
    ends = np.append(begins[1:], _EVER)
    step = PIECE // WIDE
    for first, last in stretches(np.flatnonzero(doubt), step // 4):
        for at in range(first, last + 1, step):
            found = _judge(spans, scales, told, int(begins[at]), int(ends[min(at + step - 1, last)]))
            keys.append(found[0])
            for parts, part in zip(truths, found[1], strict=True):
                parts.append(part)
    column = np.concatenate(keys)
    order = np.argsort(column, kind="stable")
    return [
        in_columns(before, column[order], np.concatenate(parts)[order])
        for before, parts in zip(carry, truths, strict=True)
    ]


def _settled(
    spans: Sequence[Span], scales: Sequence[Scale], told: Sequence[Farther], begins: Numbers
) -> list[NDArray[np.int8]]:
    """For each statement int8[stretches]: what holds from the key `begins[i]` until the next, or doubt."""
    number = len(begins)
    known = np.ones(number, np.bool_)
    highs, lows = [], []
    for span, scale in zip(spans, scales, strict=True):
        # With the reading before each stretch, which is held at its beginning. What is held from before the step is
        # not among them.
        first = np.searchsorted(span.t, begins >> 1) - 1
        known &= first >= 0
        first = np.maximum(first, 0)
        last = span.v[np.append(first[1:], len(span.t) - 1)]
        highs.append(np.maximum(np.maximum.reduceat(span.v, first), last) * scale.factor + scale.offset)
        lows.append(np.minimum(np.minimum.reduceat(span.v, first), last) * scale.factor + scale.offset)
        returns = 2 * span.t[span.restarts]
        for lost in ([-1] if span.run_start is None else []) + span.stale:
            back = np.searchsorted(returns, lost)
            until = number if back == len(returns) else int(np.searchsorted(begins, returns[back], "right"))
            known[max(int(np.searchsorted(begins, lost, "right")) - 1, 0) : until] = False
    most = np.maximum.reduce(highs) - np.minimum.reduce(lows)
    least = np.maximum.reduce(lows) - np.minimum.reduce(highs)
    found = []
    for limit, inverted in told:
        settled = np.full(number, DOUBT)
        settled[known & (most <= limit)] = inverted
        settled[known & (least > limit)] = not inverted
        found.append(settled)
    return found


def _judge(
    spans: Sequence[Span], scales: Sequence[Scale], told: Sequence[Farther], begin: int, end: int
) -> tuple[Numbers, list[NDArray[np.int8]]]:
    """Every key in [begin, end) at which a point spoke or fell silent, and what each statement then was.

    The first key stands for what held before.
    """
    parts = [held(span, begin, end) for span in spans]
    keys = union([part.keys for part in parts])
    top = np.full(len(keys), np.iinfo(np.int64).min)
    bottom = np.full(len(keys), np.iinfo(np.int64).max)
    fresh = np.zeros(len(keys), np.int64)
    for part, scale in zip(parts, scales, strict=True):
        mine, values = part.known, part.counts
        if part.keys is not keys and not np.array_equal(part.keys, keys):
            at = np.searchsorted(part.keys, keys, side="right") - 1
            mine, values = mine[at], values[at]
        values = values * scale.factor + scale.offset
        top = np.where(mine, np.maximum(top, values), top)
        bottom = np.where(mine, np.minimum(bottom, values), bottom)
        fresh += mine
    distance = np.where(fresh >= 2, top - bottom, 0)
    truths = [np.where(fresh >= 2, (distance > limit) ^ inverted, np.int8(UNKNOWN)) for limit, inverted in told]
    return keys, [each.astype(np.int8) for each in truths]
