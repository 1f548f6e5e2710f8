"""Is a value beyond a limit that changes with local time of day and season?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.edges import UNKNOWN, Edges
from rules.local_time import When, Zone
from rules.span import Span


class Limit(NamedTuple):
    """A limit in whole counts and when it holds."""

    when: When
    limit: int


class TimedBeyond:
    """`v > n` (or its opposite with `inverted`), n being the first of `limits` that fits the reading's own time.

    `otherwise` is the limit at all other times; None: no limit then, and the statement is `missing`. Judged at
    readings only: a change of limit is no edge by itself.
    """

    reach = 0

    def __init__(self, limits: list[Limit], otherwise: int | None, inverted: bool, missing: int, zone: Zone) -> None:
        self.limits, self.otherwise = limits, otherwise
        self.inverted, self.missing, self.zone = inverted, missing, zone
        self.carry = UNKNOWN

    def edges(self, span: Span) -> Edges:
        """The edges of this step."""
        if span.quiet:
            return Edges(self.carry, [], [])
        limit = np.full(len(span.t), self.otherwise or 0, np.int64)
        without = np.full(len(span.t), self.otherwise is None, np.bool_)
        for entry in reversed(self.limits):
            inside: NDArray[np.bool_] = entry.when.holds(span.own, self.zone)
            limit[inside] = entry.limit
            without[inside] = False
        truths = (span.v > limit) ^ self.inverted
        truths[without] = bool(self.missing)
        edges = span.edges(self.carry, np.flatnonzero(truths[1:] != truths[:-1]) + 1, truths)
        self.carry = edges.last
        return edges
