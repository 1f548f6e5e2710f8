"""What has one point said so far, and does it still hold?"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from rules.flags import Flag
from rules.plan import PointPlan
from tests.twin.running_time import RunningTime


class Reading(NamedTuple):
    """One reading as it was sent: its own time in ms UTC, counts of the point's resolution, flag."""

    time: int
    counts: int
    flag: int


class Heard(NamedTuple):
    """A usable reading: its own time, its counts, and the instant at which it was judged (later if it came behind)."""

    time: int
    counts: int
    judged: int


class History:
    """All usable readings of a point since it was last unknown, and the last of all."""

    def __init__(self, plan: PointPlan, start: int, running: RunningTime) -> None:
        self.plan = plan
        self.newest: int | None = None
        """Own time of the newest reading that was judged, usable or not."""
        self.run: list[Heard] = []
        """The unbroken run: usable readings since the point was last unknown. Empty: unknown."""
        self.last: Heard | None = None
        """The last usable reading, however old."""
        self.silent = False
        """Unknown because time ran out; a point never heard is not silent before its first deadline."""
        self._start = start
        self._running = running

    @property
    def known(self) -> bool:
        """Whether the last usable reading still holds."""
        return bool(self.run)

    def usable(self, flag: int) -> bool:
        """Whether rules may use a reading with this flag."""
        return flag in (Flag.PASS, Flag.NOT_EVALUATED) or (flag == Flag.SUSPECT and self.plan.accept_suspect)

    def hear(self, reading: Reading, t: int) -> None:
        """Judge a reading at instant t, which is later than its own time if it came behind the frontier."""
        self.newest = reading.time
        if not self.usable(reading.flag):
            return
        if self._running.due(reading.time, self.plan.stale_after) < t:
            return
        self.last = Heard(reading.time, reading.counts, t)
        self.run.append(self.last)
        self.silent = False

    def deadline(self) -> int | None:
        """The instant at which the point becomes unknown unless it is heard; None where it is unknown already."""
        if self.run:
            return self._running.due(self.run[-1].time, self.plan.stale_after)
        if self.last is None and not self.silent:
            return self._running.due(self._start, self.plan.stale_after)
        return None

    def fall_silent(self) -> None:
        """The hold has ended: nothing said before counts any more."""
        self.run = []
        self.silent = True

    def value(self, reading: Heard) -> Fraction:
        """The reading in the point's unit."""
        return reading.counts * self.plan.resolution

    def now(self) -> Fraction:
        """The held value in the point's unit; only where the point is known."""
        return self.value(self.run[-1])

    def shown(self) -> float | None:
        """The last usable value for an event, even when it no longer holds; None where there never was one."""
        return None if self.last is None else float(self.value(self.last))

    def window(self, length: int) -> list[Heard]:
        """The readings of the unbroken run in [t - length, t], with t the time of its last reading."""
        t = self.run[-1].time
        return [reading for reading in self.run if reading.time >= t - length]

    def covered(self, length: int) -> bool:
        """Whether the unbroken run reaches back to the beginning of that window."""
        return self.run[0].time <= self.run[-1].time - length
