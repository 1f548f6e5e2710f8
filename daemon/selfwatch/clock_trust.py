"""May the board's clock be believed at the start; who is told while it may not, and when does the daemon go on?

A board without a battery for its clock starts in the past. To wait for the network to set it is right for some
minutes, but a place that nobody watches is worse than one whose log shows wrong times: then the daemon goes on from the
last time that has certainly passed, and its rule about the clock stands until the board's has caught up.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

from daemon.clock import SystemClock
from daemon.selfwatch.supervisor import Supervisor

TELL_AFTER = 120.0
"""Seconds after which people are told that nothing is watched."""
GO_ON_AFTER = 600.0
"""Seconds after which the daemon goes on without the board's clock."""

_log = logging.getLogger("tidebed.selfwatch")


def wait_for_clock(
    clock: SystemClock,
    least: int,
    stopping: threading.Event,
    supervisor: Supervisor,
    tell: Callable[[int, int], None],
    monotonic: Callable[[], float] = time.monotonic,
) -> bool:
    """Whether there is a time to go by; False where the daemon was stopped meanwhile.

    least: ms UTC, a time that has certainly passed; tell: everybody who is told of critical alarms, with the minutes
    since the start and those until watching goes on.
    """
    begun = monotonic()
    said = told = False
    while not stopping.is_set():
        doubt = clock.doubt(least)
        if not doubt:
            return True
        waited = monotonic() - begun
        if not said:
            said = True
            _log.warning("%s", doubt)
        if waited >= TELL_AFTER and not told:
            told = True
            left = max(1, round((GO_ON_AFTER - waited) / 60))
            tell(max(1, round(waited / 60)), left)
        if waited >= GO_ON_AFTER:
            clock.go_on_from(least)
            _log.error("the board's clock was not set; watching goes on from the last time known, which may be wrong")
            return True
        supervisor.starting("waiting for the board's clock to be set", 30.0)
        stopping.wait(1.0)
    return False
