"""What does the daemon measure of itself, and how does that become readings of its own points?"""

from __future__ import annotations

import logging
import os
import time
from collections import deque
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Protocol

from adapters.intake import Arrived, Delivery, Inlet
from daemon.selfwatch.names import (
    BOARD,
    CLOCK_JUMP,
    COMMIT_TIME,
    DISK_FREE,
    OWN,
    READINGS_AGE,
    REFUSED,
    STARTS,
    UNSENT_AGE,
)
from daemon.store import Sending
from rules.clock import Clock
from rules.durations import DAY
from rules.flags import Flag

REFUSED_WITHIN = 3600.0
STALLED = 30.0
"""Seconds without a commit, though the loop makes one every ten at least, after which that is the time it takes."""
_JUMP_WORTH_A_LINE = 2.0

_log = logging.getLogger("tidebed.selfwatch")


class Tallies(Protocol):
    """What is asked of daemon.tally.Tally."""

    commits: int
    slowest_commit: float


class Listening:
    """The inlet of the adapters, which remembers when readings last came."""

    def __init__(self, inlet: Inlet, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._inlet, self._monotonic = inlet, monotonic
        self._last = monotonic()

    def put(self, delivery: Delivery) -> None:
        """As Inlet."""
        if delivery.readings:
            self._last = self._monotonic()
        self._inlet.put(delivery)

    def age(self) -> float:
        """Seconds since readings last came, or since the start."""
        return self._monotonic() - self._last


def running_time() -> float:
    """Seconds that go on while the board sleeps, and that no setting of its clock changes."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


class Measures:
    """Looks often, tells seldom: `look` every half second or so, `readings` as often as the site file says."""

    def __init__(
        self,
        store: Path,
        clock: Clock,
        listening: Listening,
        tally: Tallies,
        critical_since: Callable[[], int | None],
        *,
        wall: Callable[[], float] = time.time,
        running: Callable[[], float] = running_time,
        free: Callable[[Path], float] | None = None,
        starts: Iterable[int] = (),
        refused: Iterable[Sending] = (),
        board: Callable[[], float | None] | None = None,
    ) -> None:
        """store: the store's file; critical_since: when the oldest critical message that waits was made, ms UTC.

        starts: when daemons began again after this site had been watched before, ms UTC; refused: messages that were
        refused before this daemon began; board: its temperature, degC.
        """
        self._store, self._clock, self._listening, self._tally = store, clock, listening, tally
        self._critical_since = critical_since
        self._wall, self._running, self._free = wall, running, free or free_share
        self._offset = wall() - running()
        self._jump = 0.0
        self._commits = tally.commits
        self._committed = running()
        self._slowest = 0.0
        self._refusals: deque[float] = deque()
        for sending in sorted(refused, key=lambda one: one.settled or 0):
            ago = clock.now() / 1000 - (sending.settled or 0) / 1000
            if ago <= REFUSED_WITHIN and not sending.rule.startswith(OWN):
                self._refusals.append(running() - ago)
        self._starts, self._board = tuple(starts), board or board_temperature

    def look(self) -> None:
        """Notice what would be over before the next readings."""
        now = self._running()
        offset = self._wall() - now
        jump, self._offset = offset - self._offset, offset
        if abs(jump) > abs(self._jump):
            self._jump = jump
        if abs(jump) > _JUMP_WORTH_A_LINE:
            _log.warning("the board's clock jumped by %.1f s", jump)
        self._slowest = max(self._slowest, self._tally.slowest_commit)
        if self._tally.commits != self._commits:
            self._commits, self._committed = self._tally.commits, now

    def refused(self, sending: Sending) -> None:
        """A message was refused for good. One about our own points does not count: it would keep itself alive."""
        if not sending.rule.startswith(OWN):
            self._refusals.append(self._running())

    def stalled(self) -> float:
        """Seconds since the last commit, where that is longer than it ever takes; 0 otherwise."""
        since = self._running() - self._committed
        return since if since > STALLED else 0.0

    def readings(self) -> Delivery:
        """One reading of each of our points, as of now; what was noticed since the last time is then forgotten."""
        self.look()
        now = self._clock.now()
        running = self._running()
        while self._refusals and running - self._refusals[0] > REFUSED_WITHIN:
            self._refusals.popleft()
        since = self._critical_since()
        found = [
            (READINGS_AGE, self._listening.age(), 1),
            # Set back, the board's clock is behind ours until it has caught up.
            (CLOCK_JUMP, max(abs(self._jump), now / 1000 - self._wall()), 1000),
            (DISK_FREE, self._free(self._store) * 100, 10),
            (UNSENT_AGE, 0 if since is None else max(0, now - since) / 1000, 1),
            (REFUSED, len(self._refusals), 1),
            (COMMIT_TIME, max(self._slowest, self.stalled()), 1000),
            (STARTS, sum(now - DAY < start <= now for start in self._starts), 1),
        ]
        if (board := self._board()) is not None:
            found.append((BOARD, board, 10))
        self._jump = self._slowest = 0.0
        # One step of the point is 1 / per of its unit.
        return Delivery("tidebed", [Arrived(point, now, round(value * per), Flag.PASS) for point, value, per in found])


def free_share(store: Path) -> float:
    """The part of the store's disk that the daemon may still fill, 0 to 1; 1 where it cannot be told."""
    try:
        disk = os.statvfs(store.parent)
    except OSError:
        return 1.0
    return disk.f_bavail / disk.f_blocks if disk.f_blocks else 1.0


def board_temperature(zones: Path = Path("/sys/class/thermal")) -> float | None:
    """degC of the hottest part of the board that the kernel tells of; None where it tells of none.

    As documented in the kernel's sysfs ABI, `thermal_zone*/temp` is in thousandths of a degree.
    """
    found = []
    for zone in zones.glob("thermal_zone*/temp"):
        try:
            found.append(int(zone.read_text(encoding="ascii")) / 1000)
        except (OSError, ValueError):  # a zone that is switched off has no value
            continue
    believed = [degrees for degrees in found if -40 < degrees < 150]
    return max(believed, default=None)
