"""How do the daemon's looks at itself come together: measuring, the heartbeat, the service manager, the last resort?"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Mapping

from adapters.intake import Inlet
from adapters.notify import Notifier
from adapters.secrets import Secret, SecretUrl
from daemon.loop import Loop
from daemon.outbox import Outbox
from daemon.queue import DeliveryQueue
from daemon.selfwatch.heartbeat import Heartbeat
from daemon.selfwatch.last_resort import LastResort
from daemon.selfwatch.measures import Listening, Measures
from daemon.selfwatch.pulse import Pulse
from daemon.selfwatch.supervisor import Supervisor
from daemon.site.load import Site
from daemon.store import Sending, StoreReader
from rules.clock import Clock
from rules.plan import Plan

TURNS_WITHIN = 30.0
"""Seconds; the loop turns once a second."""
_CROWDED = 1000
"""Deliveries that wait in the queue; then our own would only make it worse."""

_log = logging.getLogger("tidebed.selfwatch")


class SelfWatch:
    """Made before the loop, which it gives its clock; `tick` is called about twice a second."""

    def __init__(self, supervisor: Supervisor, queue: DeliveryQueue) -> None:
        self.supervisor = supervisor
        self.pulse = Pulse()
        self.listening = Listening(queue)
        self._queue = queue
        self._measures: Measures | None = None
        self._last_resort: LastResort | None = None
        self._heartbeat: Heartbeat | None = None
        self._clock: Clock
        self._every = 0.0
        self._due = 0.0

    @property
    def inlet(self) -> Inlet:
        """Where adapters put what they heard."""
        return self.listening

    def start(
        self,
        site: Site,
        clock: Clock,
        loop: Loop,
        outbox: Outbox,
        notifier: Notifier,
        ways: Mapping[str, SecretUrl],
        tokens: Mapping[str, Secret],
        plan: Callable[[], Plan],
    ) -> None:
        """The daemon watches from here on. ways, tokens: from the secrets; plan: as the site file has it now."""
        self._clock = clock
        with StoreReader(site.store_path) as store:
            refused = store.refused()
        self._measures = Measures(
            site.store_path,
            clock,
            self.listening,
            loop.tally,
            lambda: outbox.health().critical_since,
            starts=loop.restarts,
            refused=refused,
        )
        self._last_resort = LastResort(plan, notifier, ways)
        self._every = site.selfwatch.every / 1000 if site.selfwatch.enabled else 0.0
        self._due = time.monotonic() + self._every
        if site.heartbeat is not None:
            address = tokens.get(site.heartbeat.address)
            if address is None:
                _log.error("no heartbeat: the secrets have no [tokens] %s", site.heartbeat.address)
            else:
                self._heartbeat = Heartbeat(address, site.heartbeat.every / 1000, self.is_watching)
                self._heartbeat.start()
        self.supervisor.ready(f"watching {len(site.plan.points)} points by {len(site.plan.rules)} rules")

    def is_watching(self) -> bool:
        """Whether the loop turns and what it judged gets to disk."""
        stalled = 0.0 if self._measures is None else self._measures.stalled()
        return self.pulse.age() < TURNS_WITHIN and not stalled

    def tick(self) -> None:
        """Look at everything once. Before `start` it does nothing."""
        if self._measures is None or self._last_resort is None:
            return
        self.supervisor.tick(self.pulse.age())
        self._measures.look()
        now = time.monotonic()
        self._last_resort.look(self._measures.stalled(), now, self._clock.now())
        if self._every and now >= self._due:
            self._due = max(self._due + self._every, now)
            if len(self._queue) < _CROWDED:
                self._queue.put(self._measures.readings())

    def refused(self, sending: Sending) -> None:
        """A message was refused for good."""
        if self._measures is not None:
            self._measures.refused(sending)

    def stop(self) -> None:
        """The daemon ends because it was asked to."""
        self.supervisor.stopping()
        if self._heartbeat is not None:
            self._heartbeat.stop()
