"""Which time does the daemon go by: the board's, or one that a player moves?"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from rules.events import show_time

RELEASED = 1_764_000_000_000
"""A time (ms UTC) shortly before this version was made: no honest clock shows an earlier one."""


_SLOWED = 9, 10
"""How fast our time goes while the board's clock is behind it: nine tenths."""
LEAP = 10_000_000_000
"""A clock that is set forward by more than this (ns) has skipped time that nobody watched."""


class SystemClock:
    """The board's clock, which is never let go back.

    When somebody sets the board's clock back, ours goes on, slower, until the board's has caught up. If it stood still
    instead, no delay would end and nothing would be judged for as long as the step was. When it is set forward, or the
    board wakes from sleep, ours follows at once, and `leap` tells of it.
    """

    def __init__(
        self, wall: Callable[[], int] = time.time_ns, monotonic: Callable[[], int] = time.monotonic_ns
    ) -> None:
        """wall, monotonic: nanoseconds."""
        self._wall, self._monotonic = wall, monotonic
        self._last: tuple[int, int] | None = None
        self._leapt: int | None = None
        self._lock = threading.Lock()

    def now(self) -> int:
        """ms UTC; from any thread."""
        with self._lock:
            wall, at = self._wall(), self._monotonic()
            if self._last is not None and wall < self._last[0]:
                last, then = self._last
                wall = last + (at - then) * _SLOWED[0] // _SLOWED[1]
            elif self._last is not None and wall - self._last[0] - (at - self._last[1]) > LEAP:
                self._leapt = wall // 1_000_000
            self._last = (wall, at)
            return wall // 1_000_000

    def leap(self) -> int | None:
        """Where to (ms UTC) the board's clock was set forward since this was last asked; None where it was not."""
        self.now()
        with self._lock:
            leapt, self._leapt = self._leapt, None
            return leapt

    def doubt(self, least: int) -> str:
        """Why the clock is not to be trusted yet; empty when it is. `least`: a time that has certainly passed, ms."""
        now = self.now()
        if now < max(least, RELEASED):
            return (
                f"the board's clock says {show_time(now)}, earlier than {show_time(max(least, RELEASED))}, which has "
                "passed; waiting for it to be set (is there a network, or a battery for the clock?)"
            )
        return ""

    def go_on_from(self, least: int) -> None:
        """Believe that it is `least` (ms UTC), or what `doubt` takes for certain; as if set back from there."""
        with self._lock:
            self._last = (max(least, RELEASED) * 1_000_000, self._monotonic())


class PlayedClock:
    """A clock that moves only when a player says so, for recorded days played at another speed."""

    def __init__(self) -> None:
        self._now: int | None = None

    @property
    def started(self) -> bool:
        """Whether the player has said a first time."""
        return self._now is not None

    def set(self, now: int) -> None:
        """Move to `now`, ms UTC; it never goes back."""
        self._now = now if self._now is None else max(now, self._now)

    def now(self) -> int:
        """ms UTC; 0 before the player has said a first time."""
        return self._now or 0

    def doubt(self, least: int) -> str:
        """Why there is no time yet."""
        return "" if self.started else "waiting for the player's first time"
