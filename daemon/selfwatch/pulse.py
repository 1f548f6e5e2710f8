"""Does the loop still turn? Known by the clock that it looks at in every turn, without a word from itself."""

from __future__ import annotations

import time
from collections.abc import Callable


class Pulse:
    """The loop's monotonic clock, which remembers when it was last looked at."""

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._last = monotonic()

    def monotonic(self) -> float:
        """Seconds; called by the loop."""
        self._last = now = self._monotonic()
        return now

    def age(self) -> float:
        """Seconds since the loop last looked; from any thread."""
        return self._monotonic() - self._last
