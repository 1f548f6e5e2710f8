"""Which plain statements about one point can be judged reading by reading? Each remembers only its last truth."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rules.edges import FALSE, TRUE, UNKNOWN, Edges
from rules.span import Span
from rules.windows import steeper

_NONE = np.empty(0, np.intp)
ALL = slice(None)
_LAST = slice(-1, None)


class Predicate(ABC):
    """A statement that is judged at readings and held between them, until the hold ends."""

    reach = 0
    """How far back (ms) it looks."""
    inverted = False
    """Whether `truths` are to be turned round."""

    def __init__(self) -> None:
        self.carry = UNKNOWN
        """The truth after the last step."""

    @abstractmethod
    def truths(self, span: Span, part: slice) -> NDArray[Any]:
        """bool[n] or int8[n] at the readings of `part` of the step."""

    def edges(self, span: Span) -> Edges:
        """The edges of this step."""
        if span.quiet:
            return Edges(self.carry, [], [])
        truths = self.truths(span, ALL)
        changes = _NONE if len(truths) < 2 else np.flatnonzero(truths[1:] != truths[:-1]) + 1
        found = span.edges(self.carry, changes, truths, inverted=self.inverted)
        self.carry = found.last
        return found

    def later(self, span: Span) -> LaterEdges:
        """The edges of this step, found only if they are asked for."""
        return LaterEdges(self, span)

    def settle(self, span: Span) -> None:
        """Remember what is true after this step, without its edges."""
        if span.quiet:
            return
        if span.stale and (not len(span.t) or span.stale[-1] > 2 * int(span.t[-1])):
            self.carry = UNKNOWN
        else:
            truth = int(self.truths(span, _LAST)[0])
            self.carry = truth if truth == UNKNOWN else truth ^ self.inverted


class LaterEdges:
    """See rules.edges.Later."""

    def __init__(self, predicate: Predicate, span: Span) -> None:
        self.predicate, self.span = predicate, span
        self.found: Edges | None = None

    def edges(self) -> Edges:
        """Find them; asked again, the same."""
        if self.found is None:
            self.found = self.predicate.edges(self.span)
        return self.found

    def settle(self) -> None:
        """Remember the last truth, if the edges have not been asked for."""
        if self.found is None:
            self.predicate.settle(self.span)


class Beyond(Predicate):
    """`v > n`, or with `inverted` its opposite `v <= n`; n is a whole number of counts."""

    def __init__(self, limit: int, inverted: bool) -> None:
        super().__init__()
        self.limit, self.inverted = limit, inverted

    def truths(self, span: Span, part: slice) -> NDArray[np.bool_]:
        """See Predicate."""
        return span.v[part] > self.limit

    def edges(self, span: Span) -> Edges:
        """The edges of this step; a live step has one reading, which is not worth a column."""
        if len(span.t) == 1 and not span.stale:
            found = span.edge(self.carry, int((span.v[0] > self.limit) != self.inverted))
            self.carry = found.last
            return found
        return super().edges(span)


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


class Steeper(Predicate):
    """Slope over `[t - window, t]` strictly above `rate` counts per ms, times `sign` (-1: falling faster).

    With `opposite` not so. Unknown until the window holds `min_readings` that span at least `min_span` ms.
    """

    def __init__(
        self, rate: Fraction, sign: int, window: int, min_readings: int, min_span: int, *, opposite: bool = False
    ) -> None:
        super().__init__()
        self.rate, self.sign, self.opposite = rate, sign, opposite
        self.reach = window
        self.min_readings, self.min_span = min_readings, min_span

    def truths(self, span: Span, part: slice) -> NDArray[np.int8]:
        """See Predicate."""
        found = span.slopes(self.reach, part)
        steep = steeper(found, self.sign, self.rate.numerator, self.rate.denominator)
        return _where_enough(steep ^ self.opposite, span.enough(self.reach, self.min_readings, self.min_span)[part])


class Ahead(Predicate):
    """`v + slope * horizon` beyond a limit, or already beyond it; `sign` -1 looks at the low side.

    clear False: `v > L or v + slope * horizon > L`; clear True: neither `v` nor the look ahead is above L. Unknown
    where that rests on a slope whose window is not filled yet.
    """

    def __init__(
        self, limit: Fraction, sign: int, horizon: int, window: int, min_readings: int, min_span: int, clear: bool
    ) -> None:
        super().__init__()
        self.limit, self.sign, self.horizon, self.clear = limit * sign, sign, horizon, clear
        self.reach = window
        self.min_readings, self.min_span = min_readings, min_span

    def truths(self, span: Span, part: slice) -> NDArray[np.int8]:
        """See Predicate."""
        value = span.v[part] * self.sign
        p, q = self.limit.numerator, self.limit.denominator
        beyond = value > math.floor(self.limit)
        coming = beyond | steeper(span.slopes(self.reach, part), self.sign, p - value * q, q * self.horizon)
        known = beyond | span.enough(self.reach, self.min_readings, self.min_span)[part]
        return _where_enough(coming ^ self.clear, known)


def _where_enough(truths: NDArray[np.bool_], known: NDArray[np.bool_]) -> NDArray[np.int8]:
    found = truths.view(np.int8)
    if not known.all():
        found[~known] = UNKNOWN
    return found


class Still(Predicate):
    """`max - min <= span` over `[t - window, t]`; unknown until the unbroken run reaches back that far."""

    def __init__(self, span: Fraction, window: int) -> None:
        super().__init__()
        self.limit = math.floor(span)
        self.reach = window

    def truths(self, span: Span, part: slice) -> NDArray[np.int8]:
        """See Predicate."""
        moved, covered = span.movement(self.reach)
        return np.where(covered[part], moved[part] <= self.limit, np.int8(UNKNOWN))


class Moved(Predicate):
    """`max - min >= span` over `[t - window, t]`: true as soon as seen, false only when the window is covered."""

    def __init__(self, span: Fraction, window: int) -> None:
        super().__init__()
        self.limit = math.ceil(span)
        self.reach = window

    def truths(self, span: Span, part: slice) -> NDArray[np.int8]:
        """See Predicate."""
        moved, covered = span.movement(self.reach)
        unseen = np.where(covered[part], np.int8(FALSE), np.int8(UNKNOWN))
        return np.where(moved[part] >= self.limit, np.int8(TRUE), unseen)
