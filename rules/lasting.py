"""When has a statement been true for long enough to count as evidence?"""

from __future__ import annotations

from typing import Any

import numpy as np

from rules.delays import due_key
from rules.edges import FALSE, TRUE, UNKNOWN, Edges, listed, normal
from rules.predicates import Predicate
from rules.running import Running
from rules.span import Span
from rules.view import View


class Lasting:
    """A predicate that counts as true only from `start of its unbroken truth + lasting` on; false until then.

    With `remembers` a silence does not begin the count anew: true before and after it, it counts at once.
    """

    def __init__(self, predicate: Predicate, lasting: int, *, remembers: bool = False) -> None:
        self.predicate, self.lasting, self.remembers = predicate, lasting, remembers
        self.counted = False
        """It has counted as true, and since then nothing but silence has spoken against it."""
        self.start: int | None = None
        """Key since which the predicate has been true, while that does not count yet."""
        self.carry = predicate.carry

    def edges(self, span: Span, view: View) -> Edges:
        """The edges of this step."""
        plain = self.predicate.edges(span)
        if not self.lasting:
            self.carry = plain.last
            return plain
        keys: list[int] = []
        truths: list[int] = []
        for key, truth in [*zip(*self._telling(plain, view.running), strict=True), (view.upto + 1, None)]:
            if self.start is not None:
                due = due_key(self.start, self.lasting, view.running)
                if due < key:
                    keys.append(due)
                    truths.append(TRUE)
                    self.start = None
                    self.counted = self.remembers
            if truth is None:
                break
            if truth == FALSE:
                self.counted = False
            again = truth == TRUE and self.counted
            self.start = key if truth == TRUE and not again else None
            keys.append(key)
            truths.append(FALSE if truth == TRUE and not again else truth)
        found = normal(self.carry, keys, truths)
        self.carry = found.last
        return found

    def _telling(self, plain: Edges, running: Running) -> tuple[list[int], list[int]]:
        """The edges, less the true spells between false ones that end too early: they stay false throughout."""
        found, truths = plain.keys, plain.truths
        if isinstance(found, list) or isinstance(truths, list) or running.spans:
            return listed(plain)
        ends = np.append(found[1:], np.iinfo(np.int64).max)
        before = np.concatenate(([plain.first], truths[:-1]))
        after = np.append(truths[1:], UNKNOWN)
        short = (truths == TRUE) & (ends <= (found & ~1) + 2 * self.lasting) & (before == FALSE) & (after == FALSE)
        kept = ~short
        kept[1:] &= ~short[:-1]
        # The first edge may end a spell that began in an earlier step.
        return found[kept].tolist(), truths[kept].tolist()

    def next_due(self, running: Running) -> int | None:
        """When the present waiting ends, ms."""
        return None if self.start is None else due_key(self.start, self.lasting, running) >> 1

    def state(self) -> list[Any]:
        """What must survive a restart."""
        return [self.predicate.carry, self.start, self.carry, self.counted]

    def load(self, state: list[Any]) -> None:
        """Take up what `state` gave."""
        self.predicate.carry, self.start, self.carry, self.counted = state
