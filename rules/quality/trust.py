"""From when to when are the readings of a point not believed, and why? Two events an episode, for the log."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from rules.block import Block, Times
from rules.door import as_decimal
from rules.events import Event, show_time
from rules.flags import Flag

if TYPE_CHECKING:
    from rules.plan import PointPlan

_WORDS = {
    "codes": "the code of a dead probe",
    "gross_range": "out of range",
    "climatology": "unusual for the month and hour",
    "gap": "after a gap",
    "rate_of_change": "changed too fast",
    "flat_line": "has not moved for too long",
    "attenuated": "hardly moves",
    "neighbour": "far from its neighbours",
}
_CALLED = {Flag.SUSPECT: "suspect", Flag.FAIL: "fails"}


class Trust:
    """One point. An episode begins with a reading that rules do not use for its flag.

    It ends with the first usable reading that comes at least `stale_after` after the last unusable one, so that a loose
    cable makes one episode and not a hundred. Readings without a value count neither way.
    """

    def __init__(self, point: PointPlan) -> None:
        self.point = point
        self.since: int | None = None
        """When the present episode began, ms UTC."""
        self.last = 0
        """The time of its last unusable reading."""

    def events(self, part: Block, at: Times, blame: Callable[[int], list[str]]) -> list[Event]:
        """What is to be said of readings with the flags that they were judged by.

        at: int64[n] the instants at which they are heard; blame: position -> the tests that gave it its flag.
        """
        worst = Flag.SUSPECT if self.point.accept_suspect else Flag.NOT_EVALUATED
        if self.since is None and (not len(part) or int(part.flags.max()) <= worst):
            return []
        bad = np.flatnonzero((part.flags > worst) & (part.flags != Flag.MISSING))
        good = np.flatnonzero(part.flags <= worst)
        found: list[Event] = []
        after = -1
        while True:
            if self.since is None:
                next_bad = bad[np.searchsorted(bad, after, side="right") :]
                if not len(next_bad):
                    return found
                after = int(next_bad[0])
                self.since = self.last = int(part.times[after])
                found.append(self._event(part, at, after, self._why(part, after, blame(after))))
            latest = np.searchsorted(bad, good) - 1
            last_bad = np.where(latest >= 0, part.times[bad[latest]] if len(bad) else 0, self.last)
            ends = np.flatnonzero((good > after) & (part.times[good] - last_bad >= self.point.stale_after))
            if not len(ends):
                if len(bad):
                    self.last = int(part.times[bad[-1]])
                return found
            after = int(good[ends[0]])
            found.append(self._event(part, at, after, f"believed again; it was not since {show_time(self.since)}"))
            self.since = None

    def _why(self, part: Block, position: int, tests: list[str]) -> str:
        flag = Flag(int(part.flags[position]))
        reasons = " and ".join(_WORDS.get(name, name) for name in tests)
        value = as_decimal(int(part.values[position]), self.point.resolution)
        return f"reads {value} {self.point.unit}: {reasons} ({_CALLED[flag]}); rules do not use it"

    def _event(self, part: Block, at: Times, position: int, why: str) -> Event:
        body = {
            "point": self.point.id,
            "flag": int(part.flags[position]),
            "value": float(as_decimal(int(part.values[position]), self.point.resolution)),
            "unit": self.point.unit,
            "why": why,
        }
        return Event(int(at[position]), "quality", body)

    def state(self) -> Any:
        """The present episode."""
        return None if self.since is None else [self.since, self.last]

    def load(self, state: Any) -> None:
        """Take up what `state` gave."""
        if state is not None:
            self.since, self.last = state
