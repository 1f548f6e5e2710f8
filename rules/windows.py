"""What do the readings of a sliding window say? Exact least-squares slopes and ranges, in columns.

The window that ends with reading `begin + i` is T[low[i]] .. T[begin + i], both included; T and V are whole numbers.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.block import Counts, Times

Positions = NDArray[np.intp]

_SAFE = 2.0**62
PIECE = 8_192
"""Readings that are worked on at one time."""
_WIDE = 512
"""Windows of which sums are taken at one time, where their products pass 2^63."""


def first_at_or_after(times: Times, wanted: Times, at: Positions, least: Positions | int = 0) -> Positions:
    """`searchsorted(times, wanted)`, at least `least`, of sorted columns; `wanted[i]` lies before `times[at[i]]`.

    Nearly even steps, as probes have them, are guessed first: that many readings before each.
    """
    if len(wanted) < 256:
        return np.maximum(np.searchsorted(times, wanted, side="left"), least)
    shift = int(at[-1]) - int(np.searchsorted(times, wanted[-1], side="left"))
    found = np.maximum(at - shift, least)
    late = (times.take(found - 1, mode="wrap") >= wanted) & (found > least)
    wrong = np.flatnonzero((times.take(found) < wanted) | late)
    if len(wrong):
        floor = least if isinstance(least, int) else least[wrong]
        found[wrong] = np.maximum(np.searchsorted(times, wanted[wrong], side="left"), floor)
    return found


class Slopes(NamedTuple):
    """Slope of window i = above[i] / below[i] counts per ms, exactly; int64, or Python ints in object columns."""

    above: NDArray[np.int64] | NDArray[np.object_]
    below: NDArray[np.int64] | NDArray[np.object_]


def slopes(times: Times, values: Counts, low: Positions, begin: int) -> Slopes:
    """Least-squares slopes: `(n Sum(tv) - Sum(t) Sum(v)) / (n Sum(t^2) - Sum(t)^2)`.

    Sums may wrap around: whole-number arithmetic is exact modulo 2^64, so a result that lies within 2^63 is right
    whatever became of the sums. Where even the result could pass that Python's own integers are used.
    """
    if not len(low):
        return Slopes(np.empty(0, np.int64), np.empty(0, np.int64))
    above, below = np.empty(len(low), np.int64), np.empty(len(low), np.int64)
    # In pieces that fit the processor's cache, which is four times faster over a year.
    for at in range(0, len(low), PIECE):
        mine = slice(at, at + PIECE)
        base, end = int(low[at]), begin + min(at + PIECE, len(low))
        t, v, lo, first = times[base:end], values[base:end], low[mine] - base, begin + at - base
        n = np.arange(first + 1, len(t) + 1) - lo
        longest = float((t[first:] - t.take(lo)).max())
        most = float(n.max())
        spread = float(v.max()) - float(v.min())
        if most * most * longest * max(longest, spread, 1.0) >= _SAFE:
            return _wide(times, values, low, begin)
        above[mine], below[mine] = _wrapping(t, v, lo, first, n)
    return Slopes(above, below)


def _wrapping(t: Times, v: Counts, lo: Positions, begin: int, n: NDArray[np.int64]) -> Slopes:
    # Windows of equally many readings, as they mostly are, begin one reading after the other.
    many = int(n[0]) if n[0] == n[-1] and int(n.min()) == int(n.max()) else n
    first = lo if isinstance(many, np.ndarray) else slice(int(lo[0]), int(lo[0]) + len(lo))

    def sums(column: NDArray[np.int64]) -> NDArray[np.int64]:
        total = np.empty(len(column) + 1, np.int64)
        total[0] = 0
        np.cumsum(column, out=total[1:])
        found: NDArray[np.int64] = total[begin + 1 :] - total[first]
        return found

    st, sv, stt, stv = sums(t), sums(v), sums(t * t), sums(t * v)
    return Slopes(many * stv - st * sv, many * stt - st * st)


def _wide(times: Times, values: Counts, low: Positions, begin: int) -> Slopes:
    """As `slopes`, with products of sums in Python's own integers; the sums too where they could pass 2^63."""
    above, below = np.empty(len(low), object), np.empty(len(low), object)
    for at in range(0, len(low), _WIDE):
        mine = slice(at, at + _WIDE)
        base, end = int(low[at]), begin + min(at + _WIDE, len(low))
        # From the first on, so that sums over a piece stay small.
        t, v, lo, first = times[base:end] - times[base], values[base:end], low[mine] - base, begin + at - base
        least = v.min()
        farthest = max(float(t[-1]), float(v.max()) - float(least))
        fits = len(t) * float(t[-1]) * farthest < _SAFE
        t, v = (t, v - least) if fits else (t.astype(object), v.astype(object))
        n = (np.arange(first + 1, len(t) + 1) - lo).astype(object)
        st, sv, stt, stv = (
            (total[first + 1 :] - total[lo]).astype(object)
            for total in (np.concatenate(([0], np.cumsum(column))) for column in (t, v, t * t, t * v))
        )
        above[mine], below[mine] = n * stv - st * sv, n * stt - st * st
    return Slopes(above, below)


def steeper(found: Slopes, sign: int, above: NDArray[np.int64] | int, below: int) -> NDArray[np.bool_]:
    """Where `sign` times the slope is strictly above `above / below` counts per ms.

    below > 0; above may be one for each window. Windows of one instant, whose slope is 0 / 0, are never steeper.
    """
    result = np.empty(len(found.above), np.bool_)
    for at in range(0, len(result), PIECE):
        mine = slice(at, at + PIECE)
        limits = above if isinstance(above, int) else above[mine]
        result[mine] = _steeper(Slopes(found.above[mine], found.below[mine]), sign, limits, below)
    return result


def _steeper(found: Slopes, sign: int, above: NDArray[np.int64] | int, below: int) -> NDArray[np.bool_]:
    rise, run = found.above.astype(float), found.below.astype(float)
    limit = run * (np.asarray(above, float) * (sign / below))
    result: NDArray[np.bool_] = rise > limit if sign > 0 else rise < limit
    # Floats decide all but the near ties; those are decided by whole numbers.
    near = np.flatnonzero(np.abs(rise - limit) <= 1e-9 * np.abs(rise))
    if len(near):
        each = np.broadcast_to(np.asarray(above), rise.shape)
        for index in near:
            result[index] = sign * int(found.above[index]) * below > int(found.below[index]) * int(each[index])
    return result


def extremes(values: Counts, low: Positions, begin: int, pick: np.ufunc) -> Counts:
    """The largest (`pick` np.maximum) or smallest (np.minimum) of every window, int64[n].

    By doubling: an extreme of 2^k neighbours is that of two of 2^(k-1); a window is covered by two that overlap.
    """
    n = len(low)
    found = np.empty(n, np.int64)
    if n <= 8:
        for index, i in enumerate(low.tolist()):
            found[index] = pick.reduce(values[i : begin + index + 1])
        return found
    for at in range(0, n, PIECE):
        mine = slice(at, at + PIECE)
        base, end = int(low[at]), begin + min(at + PIECE, n)
        found[mine] = _extremes(values[base:end], low[mine] - base, begin + at - base, pick)
    return found


def _extremes(level_values: Counts, lo: Positions, begin: int, pick: np.ufunc) -> Counts:
    found = np.empty(len(lo), np.int64)
    hi = np.arange(begin, begin + len(lo))
    level = np.frexp((hi - lo + 1).astype(float))[1] - 1
    shortest, longest = int(level.min()), int(level.max())
    for power in range(longest + 1):
        if power == shortest == longest:
            return pick(level_values.take(lo), level_values.take(hi + 1 - (1 << power)))  # type: ignore[no-any-return]  # a ufunc
        if power >= shortest:
            mine = np.flatnonzero(level == power)
            found[mine] = pick(level_values[lo[mine]], level_values[hi[mine] + 1 - (1 << power)])
        if power < longest:
            step = 1 << power
            level_values = pick(level_values[:-step], level_values[step:])
    return found


def ranges(values: Counts, low: Positions, begin: int) -> Counts:
    """max - min of every window, int64[n]."""
    found: Counts = extremes(values, low, begin, np.maximum) - extremes(values, low, begin, np.minimum)
    return found
