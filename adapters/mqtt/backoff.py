"""How long to wait before the next attempt to connect?"""

from __future__ import annotations

import random
from collections.abc import Callable


class Backoff:
    """Waits that double from `first` to `longest` seconds, each between half of that and all of it at random.

    The chance keeps many clients from coming back to a restarted broker in the same instant.
    """

    def __init__(self, first: float = 1.0, longest: float = 60.0, chance: Callable[[], float] = random.random) -> None:
        self._first = first
        self._longest = longest
        self._chance = chance
        self._next = first

    def next(self) -> float:
        """Seconds to wait now."""
        wait = self._next
        self._next = min(self._next * 2, self._longest)
        return wait * (0.5 + self._chance() / 2)

    def reset(self) -> None:
        """The last attempt went well: begin again with short waits."""
        self._next = self._first
