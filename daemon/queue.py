"""Where do deliveries of all adapters wait for the loop? In one bounded queue that blocks rather than drops."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable

from adapters.intake import Delivery


class DeliveryQueue:
    """The inlet of the daemon. Adapters put from their threads; the loop takes from its own."""

    def __init__(self, size: int = 20_000, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._queue: queue.Queue[Delivery | None] = queue.Queue(size)
        self._closed = threading.Event()
        self._monotonic = monotonic

    def put(self, delivery: Delivery) -> None:
        """Hand over one delivery; blocks while the queue is full, and gives up only when the daemon stops.

        What is given up was not acknowledged, so its sender still has it.
        """
        while not self._closed.is_set():
            try:
                self._queue.put(delivery, timeout=0.5)
            except queue.Full:
                continue
            return

    def wake(self) -> None:
        """Make a waiting `take` look up, for a stop or a reload."""
        try:
            self._queue.put_nowait(None)
        except queue.Full:
            return

    def close(self) -> None:
        """Let no more in."""
        self._closed.set()
        self.wake()

    def take(self, until: float, most: int) -> list[Delivery]:
        """What came until the monotonic time `until`, or earlier when `most` are there, one of them wants a commit, or
        somebody calls `wake`."""
        taken: list[Delivery] = []
        while len(taken) < most:
            left = until - self._monotonic()
            try:
                delivery = self._queue.get(timeout=left) if left > 0 else self._queue.get_nowait()
            except queue.Empty:
                break
            if delivery is None:
                break
            taken.append(delivery)
            if delivery.wants_commit:
                while len(taken) < most:
                    try:
                        more = self._queue.get_nowait()
                    except queue.Empty:
                        break
                    if more is not None:
                        taken.append(more)
                break
        return taken
