"""Is a value beyond a limit that changes with local time of day and season?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.local_time import When, Zone
from rules.predicates import Predicate
from rules.span import Span


class Limit(NamedTuple):
    """A limit in whole counts and when it holds."""

    when: When
    limit: int


class TimedBeyond(Predicate):
    """`v > n` (or its opposite with `inverted`), n being the first of `limits` that fits the reading's own time.

    `otherwise` is the limit at all other times; None: no limit then, and the statement is `missing`. Judged at
    readings only: a change of limit is no edge by itself.
    """

    def __init__(self, limits: list[Limit], otherwise: int | None, inverted: bool, missing: int, zone: Zone) -> None:
        super().__init__()
        self.limits, self.otherwise = limits, otherwise
        self.opposite, self.missing, self.zone = inverted, missing, zone

    def truths(self, span: Span, part: slice) -> NDArray[np.bool_]:
        """See Predicate."""
        times = span.own[part]
        limit = np.full(len(times), self.otherwise or 0, np.int64)
        without = np.full(len(times), self.otherwise is None, np.bool_)
        for entry in reversed(self.limits):
            inside: NDArray[np.bool_] = entry.when.holds(times, self.zone)
            limit[inside] = entry.limit
            without[inside] = False
        truths: NDArray[np.bool_] = (span.v[part] > limit) ^ self.opposite
        truths[without] = bool(self.missing)
        return truths
