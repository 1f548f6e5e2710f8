"""Which plain statements about one point can be judged reading by reading? Each remembers only its last truth."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from rules.edges import FALSE, TRUE, UNKNOWN, Edges
from rules.span import Span
from rules.windows import steeper

_NONE = np.empty(0, np.intp)


def _changes(truths: NDArray[np.int8] | NDArray[np.bool_]) -> NDArray[np.intp]:
    return _NONE if len(truths) < 2 else np.flatnonzero(truths[1:] != truths[:-1]) + 1


class Beyond:
    """`v > n`, or with `inverted` its opposite `v <= n`; n is a whole number of counts."""

    reach = 0

    def __init__(self, limit: int, inverted: bool) -> None:
        self.limit = limit
        self.inverted = inverted
        self.carry = UNKNOWN

    def edges(self, span: Span) -> Edges:
        """The edges of this step."""
        if span.quiet:
            return Edges(self.carry, [], [])
        if len(span.t) == 1 and not span.stale:
            found = span.edge(self.carry, int((span.v[0] > self.limit) != self.inverted))
            self.carry = found.last
            return found
        truths = span.v > self.limit
        found = span.edges(self.carry, _changes(truths), truths, inverted=self.inverted)
        self.carry = found.last
        return found

    def later(self, span: Span) -> LaterBeyond:
        """The edges of this step, found only if they are asked for."""
        return LaterBeyond(self, span)


class LaterBeyond:
    """See rules.edges.Later."""

    def __init__(self, beyond: Beyond, span: Span) -> None:
        self.beyond, self.span = beyond, span
        self.found: Edges | None = None

    def edges(self) -> Edges:
        """Find them; asked again, the same."""
        if self.found is None:
            self.found = self.beyond.edges(self.span)
        return self.found

    def settle(self) -> None:
        """The last reading alone, or the end of its hold, says what is true from here on."""
        span = self.span
        if self.found is None and not span.quiet:
            ends = span.stale and (not len(span.t) or span.stale[-1] > 2 * int(span.t[-1]))
            self.beyond.carry = UNKNOWN if ends else int((span.v[-1] > self.beyond.limit) != self.beyond.inverted)


def over(limit: Fraction) -> Beyond:
    """`v > L`, which for whole numbers is `v > floor(L)`."""
    return Beyond(math.floor(limit), False)


def under(limit: Fraction) -> Beyond:
    """`v < L`, which is not `v > ceil(L) - 1`."""
    return Beyond(math.ceil(limit) - 1, True)


def at_most(limit: Fraction) -> Beyond:
    """`v <= L`, which is not `v > floor(L)`."""
    return Beyond(math.floor(limit), True)


def at_least(limit: Fraction) -> Beyond:
    """`v >= L`, which is `v > ceil(L) - 1`."""
    return Beyond(math.ceil(limit) - 1, False)


class Steeper:
    """Slope over `[t - window, t]` strictly above `rate` counts per ms, times `sign` (-1: falling faster).

    With `inverted` the opposite. Unknown until the window holds `min_readings` that span at least `min_span` ms.
    """

    def __init__(
        self, rate: Fraction, sign: int, window: int, min_readings: int, min_span: int, inverted: bool = False
    ) -> None:
        self.rate, self.sign, self.inverted = rate, sign, inverted
        self.reach = window
        self.min_readings, self.min_span = min_readings, min_span
        self.carry = UNKNOWN

    def edges(self, span: Span) -> Edges:
        """The edges of this step."""
        if span.quiet:
            return Edges(self.carry, [], [])
        found, count, length = span.slopes(self.reach)
        steep = steeper(found, self.sign, self.rate.numerator, self.rate.denominator)
        enough = (count >= self.min_readings) & (length >= self.min_span)
        truths = np.where(enough, steep ^ self.inverted, np.int8(UNKNOWN))
        edges = span.edges(self.carry, _changes(truths), truths)
        self.carry = edges.last
        return edges


class Ahead:
    """`v + slope * horizon` beyond a limit, or already beyond it; `sign` -1 looks at the low side.

    clear False: `v > L or v + slope * horizon > L`; clear True: neither `v` nor the look ahead is above L. Unknown
    where that rests on a slope whose window is not filled yet.
    """

    def __init__(
        self, limit: Fraction, sign: int, horizon: int, window: int, min_readings: int, min_span: int, clear: bool
    ) -> None:
        self.limit, self.sign, self.horizon, self.clear = limit * sign, sign, horizon, clear
        self.reach = window
        self.min_readings, self.min_span = min_readings, min_span
        self.carry = UNKNOWN

    def edges(self, span: Span) -> Edges:
        """The edges of this step."""
        if span.quiet:
            return Edges(self.carry, [], [])
        found, count, length = span.slopes(self.reach)
        value = span.v * self.sign
        p, q = self.limit.numerator, self.limit.denominator
        beyond = value > math.floor(self.limit)
        coming = beyond | steeper(found, self.sign, p - value * q, q * self.horizon)
        known = beyond | ((count >= self.min_readings) & (length >= self.min_span))
        truths = np.where(known, coming ^ self.clear, np.int8(UNKNOWN))
        edges = span.edges(self.carry, _changes(truths), truths)
        self.carry = edges.last
        return edges


class Still:
    """`max - min <= span` over `[t - window, t]`; unknown until the unbroken run reaches back that far."""

    def __init__(self, span: Fraction, window: int) -> None:
        self.limit = math.floor(span)
        self.reach = window
        self.carry = UNKNOWN

    def edges(self, span: Span) -> Edges:
        """The edges of this step."""
        if span.quiet:
            return Edges(self.carry, [], [])
        moved, covered = span.movement(self.reach)
        truths = np.where(covered, moved <= self.limit, UNKNOWN).astype(np.int8)
        edges = span.edges(self.carry, _changes(truths), truths)
        self.carry = edges.last
        return edges


class Moved:
    """`max - min >= span` over `[t - window, t]`: true as soon as seen, false only when the window is covered."""

    def __init__(self, span: Fraction, window: int) -> None:
        self.limit = math.ceil(span)
        self.reach = window
        self.carry = UNKNOWN

    def edges(self, span: Span) -> Edges:
        """The edges of this step."""
        if span.quiet:
            return Edges(self.carry, [], [])
        moved, covered = span.movement(self.reach)
        truths = np.where(moved >= self.limit, TRUE, np.where(covered, FALSE, UNKNOWN)).astype(np.int8)
        edges = span.edges(self.carry, _changes(truths), truths)
        self.carry = edges.last
        return edges


Predicate = Beyond | Steeper | Ahead | Still | Moved
