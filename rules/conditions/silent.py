"""When has a point gone silent? When it is unknown: no usable reading for `stale_after`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from rules.durations import show_duration
from rules.edges import Judged, negated
from rules.running import Running
from rules.settings import RuleSettings
from rules.view import Surroundings, View


class SilentSettings(RuleSettings):
    """No usable reading of the point for longer than its `stale_after`."""

    kind: Literal["silent"]
    point: str

    def build(self, around: Surroundings) -> Silent:
        """The condition."""
        return Silent(self.point, around.points[self.point].stale_after)


class Silent:
    """The compiled condition; it is never unknown itself."""

    rests_on: tuple[str, ...] = ()
    sides = ("silent",)

    def __init__(self, point: str, stale_after: int) -> None:
        self.point, self.stale_after = point, stale_after

    def reach(self) -> Mapping[str, int]:
        """No window."""
        return {self.point: 0}

    def edges(self, view: View) -> dict[str, Judged]:
        """side -> its edges in this step."""
        silent = view.spans[self.point].silent
        return {"silent": Judged(silent, negated(silent))}

    def why(self, side: str, key: int) -> str:
        """How long the point may be silent."""
        return f"no usable reading for {show_duration(self.stale_after)}"

    def next_due(self, running: Running) -> int | None:
        """Nothing waits."""
        return None

    def state(self) -> None:
        """Nothing: the point itself knows."""

    def load(self, state: None) -> None:
        """Nothing to take up."""
