"""How does an adapter on a wire live: connecting, delivering, failing, and coming back?"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable

from adapters.backoff import Backoff
from adapters.intake import Delivery, Health, Inlet
from adapters.pace import Pace, RealPace
from adapters.payloads.decoded import Decoded
from rules.clock import Clock
from rules.errors import TidebedError

_TURN = 0.2
_JOIN = 5.0
"""Seconds that `stop` waits for the thread. A read that hangs in the kernel cannot be ended; its thread is left."""


class LinkLost(TidebedError):
    """The device, port or file is not there, or no longer; the adapter comes back to it by itself."""


class Supervised:
    """One thread that runs `converse` again and again, with growing waits while that fails.

    `converse(self)` opens the link, delivers what it hears until `stopping` is set, and closes it. It raises OSError
    or LinkLost when the link breaks. Every other error is a mistake of the program: the thread ends and health says so.
    """

    def __init__(
        self,
        name: str,
        converse: Callable[[Supervised], None],
        *,
        pace: Pace | None = None,
        backoff: Backoff | None = None,
    ) -> None:
        self.name = name
        self.pace: Pace = pace or RealPace()
        self.stopping = threading.Event()
        self._converse = converse
        self._backoff = backoff or Backoff()
        self._thread: threading.Thread | None = None
        self._inlet: Inlet
        self._clock: Clock
        self._lock = threading.Lock()
        self._health = Health(name)

    def start(self, inlet: Inlet, clock: Clock) -> None:
        """Begin; returns at once, and never raises for a link that is not there."""
        self._inlet, self._clock = inlet, clock
        self.stopping.clear()
        self._thread = threading.Thread(target=self._run, name=self.name, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop and join; idempotent."""
        self.stopping.set()
        if self._thread is not None:
            self._thread.join(_JOIN)
            self._thread = None

    def drained(self) -> bool:
        """A wire keeps nothing for us while we are away."""
        return True

    def health(self) -> Health:
        """A snapshot."""
        with self._lock:
            known = self._health
            return Health(known.name, known.state, known.received, known.refused.copy(), known.last_error)

    # For `converse`, on the adapter's thread.

    def now(self) -> int | None:
        """ms UTC, to date what is read just now; None while there is no time yet."""
        return self._clock.now() or None

    def wait(self, seconds: float) -> bool:
        """Wait, or until we are to stop; whether we are to stop."""
        return self.pace.wait(seconds, self.stopping)

    def connected(self) -> None:
        """The link is there and well."""
        with self._lock:
            self._health.state = "connected"
            self._health.last_error = ""

    def trouble(self, text: str, state: str = "") -> None:
        """Something is wrong that health should show; `state`: where that changes with it."""
        with self._lock:
            self._health.last_error = text
            self._health.state = state or self._health.state

    def deliver(self, decoded: Decoded) -> None:
        """Hand readings and refusals on; waits while the inlet is full, which holds up this wire alone."""
        if not decoded.readings and not decoded.refusals:
            return
        delivery = Delivery(self.name, decoded.readings, decoded.refusals, decoded.rounded, decoded.coarse)
        with self._lock:
            self._health.received += len(decoded.readings)
            self._health.refused.update(refusal.cause for refusal in decoded.refusals)
            if decoded.refusals:
                last = decoded.refusals[-1]
                self._health.last_error = f"{last.cause}: {last.detail}"
        if decoded.readings:
            self._backoff.reset()
        waited = False
        while not self.stopping.is_set():
            try:
                self._inlet.put(delivery)
            except (queue.Full, TimeoutError):
                waited = True
                self.trouble("readings are not taken in; the daemon is busy or its disk is", "waiting")
                self.stopping.wait(_TURN)
            else:
                if waited:
                    self.connected()
                return
        with self._lock:
            self._health.refused["not taken in"] += len(decoded.readings)

    def _run(self) -> None:
        sound = False
        try:
            while not self.stopping.is_set():
                try:
                    self._converse(self)
                except (OSError, LinkLost) as error:
                    self.trouble(str(error), "waiting")
                if not self.stopping.is_set():
                    self.wait(self._backoff.next())
            sound = True
        finally:
            # An error that nobody expects ends the thread and is told by threading; health must tell it as well.
            if sound:
                with self._lock:
                    self._health.state = "stopped"
            else:
                self.trouble("an error in the program; see the log", "failed")
