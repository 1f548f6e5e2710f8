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
TITLE = "The board's clock is wrong, so nothing is watched"
BODY = (
    "It has shown a time that is past since the board started {minutes} min ago. In about {left} min watching goes on, "
    "with times that may be wrong. First: look at the place yourself; then at the board's network."
)

_log = logging.getLogger("tidebed.selfwatch")


def wait_for_clock(
    clock: SystemClock,
    least: int,
    stopping: threading.Event,
    supervisor: Supervisor,
    tell: Callable[[str, str], None],
    monotonic: Callable[[], float] = time.monotonic,
) -> bool:
    """Whether there is a time to go by; False where the daemon was stopped meanwhile.

    least: ms UTC, a time that has certainly passed; tell: title and body, to everybody who is told of critical alarms.
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
            tell(TITLE, BODY.format(minutes=max(1, round(waited / 60)), left=left))
        if waited >= GO_ON_AFTER:
            clock.go_on_from(least)
            _log.error("the board's clock was not set; watching goes on from the last time known, which may be wrong")
            return True
        supervisor.starting("waiting for the board's clock to be set", 30.0)
        stopping.wait(1.0)
    return False
