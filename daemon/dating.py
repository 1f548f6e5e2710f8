"""When did a reading without a time of its own come? When its adapter handed it over, not when the loop came for it.

The loop comes about once a second; a reading dated only then would be judged up to a second later than it should.
"""

from __future__ import annotations

import threading

from adapters.intake import Delivery, Inlet
from daemon.batch import Dater
from rules.clock import Clock


class DatedInlet:
    """An inlet that dates readings by the board's clock on their way through, from any thread."""

    def __init__(self, inlet: Inlet, clock: Clock) -> None:
        """clock: not a played one, which moves only when the loop gets to it."""
        self._inlet, self._clock = inlet, clock
        self._dater = Dater()
        self._lock = threading.Lock()

    def put(self, delivery: Delivery) -> None:
        """As Inlet; each undated reading gets the next free millisecond of its point."""
        if delivery.readings:
            now = self._clock.now()
            with self._lock:
                delivery.readings = [r._replace(time=self._dater.date(r, now)) for r in delivery.readings]
        self._inlet.put(delivery)
