"""How does an adapter wait, so that a simulated day of polling need not take a day?"""

from __future__ import annotations

import threading
import time
from collections.abc import Hashable, Mapping
from typing import Generic, Protocol, TypeVar

K = TypeVar("K", bound=Hashable)


class Pace(Protocol):
    """Monotonic seconds, and waiting by them."""

    def monotonic(self) -> float:
        """Seconds from some beginning; they never go back."""

    def wait(self, seconds: float, stopping: threading.Event) -> bool:
        """Wait so long, or until `stopping` is set; whether it is set."""


class RealPace:
    """The board's own."""

    def monotonic(self) -> float:
        """Seconds of the board's monotonic clock."""
        return time.monotonic()

    def wait(self, seconds: float, stopping: threading.Event) -> bool:
        """Wait on the event."""
        return stopping.wait(max(0.0, seconds))


class Schedule(Generic[K]):
    """Which of several things is to be polled next, each at intervals of its own.

    The rhythm is kept without drift. After a delay what was missed is not made up for: one poll, then the rhythm again.
    """

    def __init__(self, intervals: Mapping[K, float], now: float) -> None:
        """intervals: seconds. All are due at `now`."""
        self._every = dict(intervals)
        self._due = dict.fromkeys(intervals, now)

    def wait(self, now: float) -> float:
        """Seconds until something is due; 0 where it is due already."""
        return max(0.0, min(self._due.values()) - now)

    def take(self, now: float) -> list[K]:
        """What is due, and is now due again one interval later."""
        due = [key for key, time_due in self._due.items() if time_due <= now]
        for key in due:
            every = self._every[key]
            self._due[key] += every * max(1, (now - self._due[key]) // every + 1)
        return due

    def put_off(self, key: K, until: float) -> None:
        """Let `key` rest until then."""
        self._due[key] = max(self._due[key], until)
