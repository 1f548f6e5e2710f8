"""Where do deliveries of all adapters wait for the loop? In one bounded queue that blocks rather than drops."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable

from adapters.intake import Delivery

_ROOM_AGAIN = 0.05
"""Seconds after which an adapter that found the queue full looks again."""


class DeliveryQueue:
    """The inlet of the daemon. Adapters put from their threads; the loop takes from its own.

    A delivery alone wakes nobody: the loop comes for all of them together when its time is over. It is woken early by
    one that wants a commit or moves a played clock, by a queue that fills, and by `wake`.
    """

    def __init__(self, size: int = 20_000, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._waiting: deque[Delivery] = deque()
        self._size = size
        self._closed = False
        self._hurry = threading.Event()
        self._monotonic = monotonic

    def __len__(self) -> int:
        """How many deliveries wait."""
        return len(self._waiting)

    def put(self, delivery: Delivery) -> None:
        """Hand over one delivery; blocks while the queue is full, and gives up only when the daemon stops.

        What is given up was not acknowledged, so its sender still has it.
        """
        while len(self._waiting) >= self._size and not self._closed:
            self._hurry.set()
            time.sleep(_ROOM_AGAIN)
        if self._closed:
            return
        self._waiting.append(delivery)
        if delivery.wants_commit or delivery.clock is not None or len(self._waiting) >= self._size // 4:
            self._hurry.set()

    def wake(self) -> None:
        """Make a waiting `take` look up, for a stop or a reload."""
        self._hurry.set()

    def close(self) -> None:
        """Let no more in."""
        self._closed = True
        self.wake()

    def take(self, until: float, most: int) -> list[Delivery]:
        """At most `most` of what has come, at the monotonic time `until` or as soon as there is reason to hurry."""
        left = until - self._monotonic()
        if left > 0 and len(self._waiting) < most:
            self._hurry.wait(left)
        # Cleared before the queue is emptied: what comes from here on sets it again.
        self._hurry.clear()
        taken: list[Delivery] = []
        while len(taken) < most:
            try:
                taken.append(self._waiting.popleft())
            except IndexError:
                break
        if self._waiting:
            self._hurry.set()
        return taken
