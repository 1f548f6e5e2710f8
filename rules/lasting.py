"""When has a statement been true for long enough to count as evidence?"""

from __future__ import annotations

from typing import Any

from rules.delays import due_key
from rules.edges import FALSE, TRUE, Edges, listed, normal
from rules.predicates import Predicate
from rules.running import Running
from rules.span import Span
from rules.view import View


class Lasting:
    """A predicate that counts as true only from `start of its unbroken truth + lasting` on; false until then."""

    def __init__(self, predicate: Predicate, lasting: int) -> None:
        self.predicate, self.lasting = predicate, lasting
        self.start: int | None = None
        """Key since which the predicate has been true, while that does not count yet."""
        self.carry = predicate.carry
        self.plain = Edges(predicate.carry, [], [])
        """The predicate's own edges in this step."""

    def edges(self, span: Span, view: View) -> Edges:
        """The edges of this step."""
        self.plain = plain = self.predicate.edges(span)
        if not self.lasting:
            self.carry = plain.last
            return plain
        keys: list[int] = []
        truths: list[int] = []
        for key, truth in [*zip(*listed(plain), strict=True), (view.upto + 1, None)]:
            if self.start is not None:
                due = due_key(self.start, self.lasting, view.running)
                if due < key:
                    keys.append(due)
                    truths.append(TRUE)
                    self.start = None
            if truth is None:
                break
            self.start = key if truth == TRUE else None
            keys.append(key)
            truths.append(FALSE if truth == TRUE else truth)
        found = normal(self.carry, keys, truths)
        self.carry = found.last
        return found

    def next_due(self, running: Running) -> int | None:
        """When the present waiting ends, ms."""
        return None if self.start is None else due_key(self.start, self.lasting, running) >> 1

    def state(self) -> list[Any]:
        """What must survive a restart."""
        return [self.predicate.carry, self.start, self.carry]

    def load(self, state: list[Any]) -> None:
        """Take up what `state` gave."""
        self.predicate.carry, self.start, self.carry = state
