"""Which plain statements about one point can be judged reading by reading? Each remembers only its last truth."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rules.edges import FALSE, TRUE, UNKNOWN, Edges
from rules.span import ALL, Span, TruthsAt
from rules.windows import PIECE, Positions, steeper
from rules.zones import COARSE, DOUBT, MANY, Settled, Zones, fitting, steepest

_LAST = slice(-1, None)


class Predicate(ABC):
    """A statement that is judged at readings and held between them, until the hold ends."""

    reach = 0
    """How far back (ms) it looks."""

    def __init__(self) -> None:
        self.carry = UNKNOWN
        """The truth after the last step."""

    @abstractmethod
    def truths(self, span: Span, part: slice) -> NDArray[Any]:
        """bool[n] or int8[n] at the readings of `part` of the step."""

    def changes(self, span: Span) -> tuple[Positions, TruthsAt]:
        """The sorted positions i >= 1 at which the truth is another than at i - 1, and what it is at any position."""
        return _changes(self.truths(span, ALL))

    def edges(self, span: Span) -> Edges:
        """The edges of this step."""
        if span.quiet:
            return Edges(self.carry, [], [])
        if len(span.t) == 1 and not span.stale:
            found = span.edge(self.carry, int(self.truths(span, ALL)[0]))
        else:
            found = span.edges(self.carry, *self.changes(span))
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
            self.carry = int(self.truths(span, _LAST)[0])


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
        values = span.v[part]
        return values <= self.limit if self.inverted else values > self.limit

    def changes(self, span: Span) -> tuple[Positions, TruthsAt]:
        """See Predicate."""
        if len(span.t) < MANY:
            return super().changes(span)
        return span.zones(COARSE).crossings(self.limit), lambda at: (span.v[at] > self.limit) ^ self.inverted

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


class Windowed(Predicate):
    """A statement about the window that ends with a reading. In a long step extremes of zones decide most of it."""

    @abstractmethod
    def settled(self, span: Span) -> tuple[Zones, Settled]:
        """What holds at all readings of a zone, or doubt."""

    def changes(self, span: Span) -> tuple[Positions, TruthsAt]:
        """See Predicate."""
        if len(span.t) < MANY:
            return super().changes(span)
        zones, settled = self.settled(span)
        column = zones.column(settled)
        doubt = settled == DOUBT
        if 2 * np.count_nonzero(doubt) > len(doubt):
            self._fill(column, span)
        elif doubt.any():
            selection, some = span.selected(self.reach, zones.width, doubt)
            found = np.empty(len(some.t), np.int8)
            self._fill(found, some)
            column[selection.at[selection.wanted]] = found[selection.wanted]
        return _changes(column)

    def usual(self, span: Span) -> int:
        """How many readings its windows hold, as the last of the step shows."""
        return len(span.own) - int(np.searchsorted(span.own, span.own[-1] - self.reach))

    def _fill(self, column: NDArray[np.int8], span: Span) -> None:
        # In pieces that fit the processor's cache.
        for start in range(0, len(column), PIECE):
            part = slice(start, min(start + PIECE, len(column)))
            column[part] = self.truths(span, part)


class Slope(Windowed):
    """A statement about the least-squares slope; unknown until the window holds `min_readings` over `min_span` ms."""

    def __init__(self, window: int, min_readings: int, min_span: int) -> None:
        super().__init__()
        self.reach = window
        self.min_readings, self.min_span = min_readings, min_span

    def enough(self, span: Span, part: slice) -> NDArray[np.bool_]:
        """bool[n]: whether its windows hold enough."""
        return span.enough(self.reach, self.min_readings, self.min_span, part)

    def settled(self, span: Span) -> tuple[Zones, Settled]:
        """See Windowed."""
        width = fitting(2 * self.usual(span))
        zones, found = span.zones(width), span.windows(self.reach, width)
        most = steepest(zones, found, self.reach, self.min_readings, self.min_span)
        return zones, np.where(self.passes(zones, most), DOUBT, np.int8(self.otherwise))

    otherwise = FALSE
    """The truth where no slope can pass the limit and there is enough."""

    @abstractmethod
    def passes(self, zones: Zones, steepest: NDArray[np.float64]) -> NDArray[np.bool_]:
        """bool[zones]: whether a slope of at most so many counts per ms, up or down, may pass the limit."""


class Steeper(Slope):
    """Slope over `[t - window, t]` strictly above `rate` counts per ms, times `sign` (-1: falling faster).

    With `opposite` not so.
    """

    def __init__(
        self, rate: Fraction, sign: int, window: int, min_readings: int, min_span: int, *, opposite: bool = False
    ) -> None:
        super().__init__(window, min_readings, min_span)
        self.rate, self.sign, self.opposite = rate, sign, opposite
        self.otherwise = TRUE if opposite else FALSE

    def truths(self, span: Span, part: slice) -> NDArray[np.int8]:
        """See Predicate."""
        found = span.slopes(self.reach, part)
        steep = steeper(found, self.sign, self.rate.numerator, self.rate.denominator)
        return _where_enough(steep ^ self.opposite, self.enough(span, part))

    def passes(self, zones: Zones, steepest: NDArray[np.float64]) -> NDArray[np.bool_]:
        """See Slope."""
        passes: NDArray[np.bool_] = steepest * _CAREFULLY >= float(self.rate)
        return passes


class Ahead(Slope):
    """`v + slope * horizon` beyond a limit, or already beyond it; `sign` -1 looks at the low side.

    clear False: `v > L or v + slope * horizon > L`; clear True: neither `v` nor the look ahead is above L. Unknown
    where that rests on a slope whose window is not filled yet.
    """

    def __init__(
        self, limit: Fraction, sign: int, horizon: int, window: int, min_readings: int, min_span: int, clear: bool
    ) -> None:
        super().__init__(window, min_readings, min_span)
        self.limit, self.sign, self.horizon, self.clear = limit * sign, sign, horizon, clear
        self.otherwise = TRUE if clear else FALSE

    def truths(self, span: Span, part: slice) -> NDArray[np.int8]:
        """See Predicate."""
        value = span.v[part] * self.sign
        p, q = self.limit.numerator, self.limit.denominator
        beyond = value > math.floor(self.limit)
        coming = beyond | steeper(span.slopes(self.reach, part), self.sign, p - value * q, q * self.horizon)
        return _where_enough(coming ^ self.clear, beyond | self.enough(span, part))

    def passes(self, zones: Zones, steepest: NDArray[np.float64]) -> NDArray[np.bool_]:
        """See Slope."""
        left = float(self.limit) - (zones.high if self.sign > 0 else -zones.low)
        passes: NDArray[np.bool_] = steepest * (self.horizon * _CAREFULLY) >= left - np.abs(left) * _SLACK
        return passes


_SLACK = 1e-9
_CAREFULLY = 1 + _SLACK
"""More than floats can be wrong by."""


def _where_enough(truths: NDArray[np.bool_], known: NDArray[np.bool_]) -> NDArray[np.int8]:
    found = truths.view(np.int8)
    if not known.all():
        found[~known] = UNKNOWN
    return found


def _changes(truths: NDArray[Any]) -> tuple[Positions, TruthsAt]:
    return np.flatnonzero(truths[1:] != truths[:-1]) + 1, truths.take


class Movement(Windowed):
    """A statement about `max - min` over `[t - window, t]`."""

    def __init__(self, limit: int, window: int) -> None:
        super().__init__()
        self.limit, self.reach = limit, window

    less, more = FALSE, TRUE
    """The truth where the window is covered and `max - min` is below `limit`, or not."""

    def settled(self, span: Span) -> tuple[Zones, Settled]:
        """See Windowed."""
        # Some zones must lie within a window.
        width = fitting(self.usual(span) // 2)
        zones, found = span.zones(width), span.windows(self.reach, width)
        settled = np.full(len(zones.starts), DOUBT)
        settled[found.whole & (found.high - found.low < self.limit)] = self.less
        if found.inner is not None:
            settled[found.whole & (found.inner >= self.limit)] = self.more
        return zones, settled


class Still(Movement):
    """`max - min <= span` over `[t - window, t]`; unknown until the unbroken run reaches back that far."""

    less, more = TRUE, FALSE

    def __init__(self, span: Fraction, window: int) -> None:
        super().__init__(math.floor(span) + 1, window)

    def truths(self, span: Span, part: slice) -> NDArray[np.int8]:
        """See Predicate."""
        moved, covered = span.movement(self.reach, part)
        return np.where(covered, moved < self.limit, np.int8(UNKNOWN))


class Moved(Movement):
    """`max - min >= span` over `[t - window, t]`: true as soon as seen, false only when the window is covered."""

    def __init__(self, span: Fraction, window: int) -> None:
        super().__init__(math.ceil(span), window)

    def truths(self, span: Span, part: slice) -> NDArray[np.int8]:
        """See Predicate."""
        moved, covered = span.movement(self.reach, part)
        unseen = np.where(covered, np.int8(FALSE), np.int8(UNKNOWN))
        return np.where(moved >= self.limit, np.int8(TRUE), unseen)
