"""Which plain statements about one point can be judged reading by reading? Each remembers only its last truth."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rules.edges import UNKNOWN, Edges
from rules.span import ALL, Span, TruthsAt
from rules.windows import Positions
from rules.zones import COARSE, MANY

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
        return changes_of(self.truths(span, ALL))

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


def changes_of(truths: NDArray[Any]) -> tuple[Positions, TruthsAt]:
    """The changes of a column of truths, as `Predicate.changes` gives them."""
    return np.flatnonzero(truths[1:] != truths[:-1]) + 1, truths.take
