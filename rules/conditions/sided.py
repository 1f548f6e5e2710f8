"""What do conditions with two directions share? For each side a statement and its return, judged at one point."""

from __future__ import annotations

from collections.abc import Mapping

from rules.edges import Judged
from rules.predicates import Predicate
from rules.running import Running
from rules.view import View


class Sided:
    """A compiled condition whose sides are each a predicate and the predicate of its return."""

    rests_on: tuple[str, ...] = ()

    def __init__(self, point: str, parts: Mapping[str, tuple[Predicate, Predicate]], words: Mapping[str, str]) -> None:
        """words: side -> which limit was passed, for the log."""
        self.point, self.parts, self.words = point, parts, words
        self.sides = tuple(parts)

    def reach(self) -> Mapping[str, int]:
        """How far back the longest window looks."""
        return {self.point: max((part.reach for pair in self.parts.values() for part in pair), default=0)}

    def edges(self, view: View) -> dict[str, Judged]:
        """side -> its edges in this step."""
        span = view.spans[self.point]
        return {side: Judged(onset.edges(span), clear.later(span)) for side, (onset, clear) in self.parts.items()}

    def why(self, side: str, key: int) -> str:
        """Which limit was passed."""
        return self.words[side]

    def next_due(self, running: Running) -> int | None:
        """Nothing waits."""
        return None

    def state(self) -> list[int]:
        """The last truths."""
        return [part.carry for pair in self.parts.values() for part in pair]

    def load(self, state: list[int]) -> None:
        """Take up what `state` gave."""
        for part, carry in zip((part for pair in self.parts.values() for part in pair), state, strict=True):
            part.carry = carry
