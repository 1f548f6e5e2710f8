"""When is a value stuck? When `max - min <= tolerance` over a window (QARTOD's flat line)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from rules.durations import Duration, show_duration
from rules.edges import Judged, negated
from rules.running import Running
from rules.settings import Amount, RuleSettings
from rules.units import parse_amount, with_unit
from rules.view import Surroundings, View
from rules.windowed import Still


class FlatSettings(RuleSettings):
    """A value that has not moved by more than `tolerance` for a whole `window`."""

    kind: Literal["flat"]
    point: str
    tolerance: Amount
    window: Duration

    def build(self, around: Surroundings) -> Flat:
        """The condition; raises UnitError where the tolerance does not fit the point."""
        point = around.points[self.point]
        limit = parse_amount(self.tolerance, point.units, difference=True) / point.resolution
        words = f"moved no more than {with_unit(self.tolerance, point.unit)} over {show_duration(self.window)}"
        return Flat(self.point, Still(limit, self.window), words)


class Flat:
    """The compiled condition."""

    rests_on: tuple[str, ...] = ()
    sides = ("flat",)

    def __init__(self, point: str, still: Still, words: str) -> None:
        self.point, self.still, self.words = point, still, words

    def reach(self) -> Mapping[str, int]:
        """The window."""
        return {self.point: self.still.reach}

    def edges(self, view: View) -> dict[str, Judged]:
        """side -> its edges in this step."""
        found = self.still.edges(view.spans[self.point])
        return {"flat": Judged(found, negated(found))}

    def why(self, side: str, key: int) -> str:
        """How long it has not moved."""
        return self.words

    def next_due(self, running: Running) -> int | None:
        """Nothing waits."""
        return None

    def state(self) -> int:
        """The last truth."""
        return self.still.carry

    def load(self, state: int) -> None:
        """Take up what `state` gave."""
        self.still.carry = state
