"""How long to wait before the next try, so that what is down is neither hammered nor forgotten?"""

from __future__ import annotations

import random
from collections.abc import Callable

FIRST = 2.0
"""Seconds."""


def wait_before(number: int, chance: float, longest: float, first: float = FIRST) -> float:
    """Seconds to wait after the try of that number (from 1) failed: doubling from `first` up to `longest`.

    chance: 0 to 1, as it falls; between half of that and the whole is waited, so that many who lost the same thing do
    not come back in the same instant.
    """
    return min(longest, first * 2.0 ** min(number - 1, 30)) * (0.5 + chance / 2)


class Backoff:
    """The waits of one link, which begin anew when it works again."""

    def __init__(self, first: float = 1.0, longest: float = 60.0, chance: Callable[[], float] = random.random) -> None:
        self._first = first
        self._longest = longest
        self._chance = chance
        self._failed = 0

    def next(self) -> float:
        """Seconds to wait now."""
        self._failed += 1
        return wait_before(self._failed, self._chance(), self._longest, self._first)

    def reset(self) -> None:
        """The last attempt went well: begin again with short waits."""
        self._failed = 0
