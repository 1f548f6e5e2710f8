"""Which statements about the window that ends with a reading can be judged? Each remembers only its last truth."""

from __future__ import annotations

import math
from abc import abstractmethod
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from rules.edges import FALSE, TRUE, UNKNOWN
from rules.predicates import Predicate, changes_of
from rules.span import Span, TruthsAt
from rules.windows import PIECE, Positions, steeper
from rules.zones import DOUBT, MANY, Settled, Zones, fitting, steepest


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
        return changes_of(column)

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
