"""What makes one running daemon? Clock, store, adapters, loop, outbox and forwarder, put together and taken apart."""

from __future__ import annotations

import gc
import logging
import os
import signal
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import FrameType

from adapters.intake import Adapter
from adapters.local_way import is_local
from adapters.notify import AppriseNotifier, problem
from adapters.secrets import SecretUrl, load_tokens, load_ways, secrets_path
from daemon.adapter_states import AdapterStates
from daemon.clock import PlayedClock, SystemClock
from daemon.dating import DatedInlet
from daemon.forwarding import forwarder_of
from daemon.loop import Listener, Loop
from daemon.outbox import Manners, Outbox
from daemon.queue import DeliveryQueue
from daemon.replies.doors import Doors
from daemon.selfwatch.clock_trust import wait_for_clock
from daemon.selfwatch.last_resort import tell_past_the_store
from daemon.selfwatch.names import CLOCK
from daemon.selfwatch.plan import watched
from daemon.selfwatch.supervisor import Supervisor
from daemon.selfwatch.watch import SelfWatch
from daemon.site.adapters import connect
from daemon.site.load import Site, load_site
from daemon.site.problem import SiteFileError
from daemon.site.reach import PersonTable
from daemon.store import Sending, Store, StoreReader
from daemon.ways_in_turn import InTurn
from rules.errors import TidebedError
from rules.local_time import Zone
from rules.plan import Plan
from rules.texts import Words

HEALTH_EVERY = 60.0
"""Seconds between health lines."""

_log = logging.getLogger("tidebed")


class Service:
    """One daemon for one site file."""

    def __init__(self, path: Path, *, played: bool = False, listener: Listener | None = None) -> None:
        """Loads the site file and opens the store; nothing connects yet. Raises TidebedError."""
        self.path = path
        self.site = load_site(path)
        self.clock: SystemClock | PlayedClock = PlayedClock() if played else SystemClock()
        self.plan = self._plan(self.site)
        self.store = Store(self.site.store_path, self.plan.points)
        self.queue = DeliveryQueue()
        # A player's daemon is nobody's service, and what it would measure of itself is not of the played time.
        self.selfwatch = SelfWatch(Supervisor({} if played else os.environ), self.queue)
        self.stopping = threading.Event()
        self._listener = listener
        self._reload = threading.Event()
        self.loop: Loop | None = None
        self.adapters: list[Adapter] = []
        self.states = AdapterStates(self.site.store_path)
        self.outbox: Outbox | None = None

    def run(self) -> None:
        """Until SIGTERM or SIGINT; SIGHUP reads the site file again."""
        previous = {number: signal.signal(number, self._signal) for number in _SIGNALS}
        try:
            if self._trust_clock():
                self._run()
        finally:
            self.store.close()
            for number, handler in previous.items():
                signal.signal(number, handler)

    def _run(self) -> None:
        secrets, environment = self._secrets()
        tokens = load_tokens(secrets, environment)
        ways = load_ways(secrets, environment)
        for person in self.site.plan.persons:
            for way in person.every_way():
                if way not in ways:
                    _log.warning("%s cannot be told by %s: no address in %s", person.id, way, secrets or "the secrets")
        doors = Doors(self.site, self.clock, ways, lambda: self.plan)
        notifier = doors.notifier(AppriseNotifier())
        self.outbox = Outbox(
            self.site.store_path,
            notifier,
            ways,
            self.clock,
            self._refused,
            manners=_manners(self.site),
            link=doors.link,
        )
        made = [connect(table, self.site.plan.raw()) for table in self.site.adapters.values()]
        self.adapters = [adapter for adapter in made if adapter is not None]
        forwarder = forwarder_of(self.site, self.store, tokens)
        self.loop = Loop(
            self.plan,
            self.store,
            self.queue,
            self.clock,
            self.adapters,
            commit_every=self.site.store.commit_every / 1000,
            wake_outbox=self.outbox.wake,
            listener=self._listener or _nobody,
            say=_log.info,
            monotonic=self.selfwatch.pulse.monotonic,
        )
        doors.start()
        self.outbox.start()
        services = [way for way in ways.values() if not is_local(way)]
        threading.Thread(target=_try_addresses, args=(services,), name="addresses", daemon=True).start()
        if forwarder is not None:
            forwarder.start()
        inlet = self.selfwatch.inlet
        if not isinstance(self.clock, PlayedClock):
            inlet = DatedInlet(inlet, self.clock)
        for adapter in self.adapters:
            adapter.start(inlet, self.clock)
        if not isinstance(self.clock, PlayedClock):
            self.selfwatch.start(
                self.site,
                self.clock,
                self.loop,
                self.outbox,
                notifier,
                ways,
                tokens,
                lambda: self.plan,
            )
        told = threading.Thread(target=self._tell_health, name="health", daemon=True)
        told.start()
        _log.info("%s: watching %d points by %d rules", *_size(self.site))
        # What the start has made stays; the collector need not look through it while an alarm waits.
        gc.collect()
        gc.freeze()
        try:
            self.loop.run()
        finally:
            self.stopping.set()
            self.selfwatch.stop()
            # What is still in the queue was not acknowledged; its sender keeps it.
            self.queue.close()
            for adapter in self.adapters:
                adapter.stop()
            if forwarder is not None:
                forwarder.stop()
            self.outbox.stop()
            doors.stop()
            told.join()
            self.states.look((adapter.health() for adapter in self.adapters), last=True)
            _log.info("stopped; %s", self._health_line())

    def stop(self) -> None:
        """End `run` from any thread."""
        self.stopping.set()
        if self.loop is not None:
            self.loop.stop()

    def reload(self) -> None:
        """Read the site file again; a wrong one changes nothing and says why."""
        try:
            site = load_site(self.path)
            with StoreReader(self.site.store_path) as store:
                store.require_fitting(site.plan.points)
        except SiteFileError as error:
            _log.error("the site file is not taken up, the old one stays in use:\n%s", error)
            return
        except TidebedError as error:
            _log.error("the site file is not taken up, the old one stays in use: %s", error)
            return
        before = self.site
        if site.adapters != before.adapters or site.store_path != before.store_path:
            _log.warning("adapters and the store's place change at the next start; rules and points change now")
        if (site.web, site.heartbeat) != (before.web, before.heartbeat):
            _log.warning("[web] and [heartbeat] change at the next start; rules and points change now")
        self.site, self.plan = site, self._plan(site)
        if self.outbox is not None:
            self.outbox.use(_manners(site))
        if self.loop is not None:
            self.loop.reload(self.plan)

    def _plan(self, site: Site) -> Plan:
        """What is judged: the site's plan and, by the board's clock, what the daemon watches of itself."""
        return site.plan if isinstance(self.clock, PlayedClock) else watched(site)

    def _signal(self, number: int, frame: FrameType | None) -> None:
        if number == signal.SIGHUP:
            self._reload.set()
        else:
            self.stop()

    def _trust_clock(self) -> bool:
        """Whether there is a time to go by; False where the daemon was stopped before there was."""
        if isinstance(self.clock, PlayedClock):
            return True
        saved = self.store.checkpoint()
        least = 0 if saved is None else int(saved["now"])
        return wait_for_clock(self.clock, least, self.stopping, self.selfwatch.supervisor, self._tell_of_clock)

    def _tell_of_clock(self, minutes: int, left: int) -> None:
        words = Words(self.site.plan.texts)
        title, body = words.say("unset_clock.title"), words.say("unset_clock.body", minutes=minutes, left=left)
        ways = {name: way for name, way in load_ways(*self._secrets()).items() if not is_local(way)}
        tell = (CLOCK, title, body, self.site.plan, AppriseNotifier(), ways)
        now = self.clock.now()
        threading.Thread(target=tell_past_the_store, args=(*tell, now), name="clock", daemon=True).start()

    def _secrets(self) -> tuple[Path | None, Mapping[str, str]]:
        return secrets_path(self.path, os.environ), os.environ

    def _tell_health(self) -> None:
        begun = time.monotonic()
        while not self.stopping.wait(0.5):
            if self._reload.is_set():
                self._reload.clear()
                self.reload()
            self.selfwatch.tick()
            self.states.look(adapter.health() for adapter in self.adapters)
            if time.monotonic() - begun >= HEALTH_EVERY:
                begun = time.monotonic()
                _log.info("%s", self._health_line())

    def _health_line(self) -> str:
        if self.loop is None:
            return "health: not started"
        engine = self.loop.engine
        alarms = 0 if engine is None else engine.life.count_standing()
        lag = 0.0 if engine is None else max(0.0, (self.clock.now() - engine.frontier) / 1000)
        unsent = 0 if self.outbox is None else self.outbox.health().waiting
        return self.loop.tally.line([adapter.health() for adapter in self.adapters], alarms, unsent, lag)

    def _refused(self, sending: Sending, reason: str) -> None:
        self.selfwatch.refused(sending)
        _log.error("nobody was told of %r by %s of %s: %s", sending.title, sending.way, sending.person, reason)


def _try_addresses(ways: list[SecretUrl]) -> None:
    """Warn of addresses that no service understands; and load the services, so that the first alarm need not wait."""
    for way in ways:
        wrong = problem(way)
        if wrong:
            _log.warning("%s", wrong)


_SIGNALS = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)


def _nobody(events: Sequence[object]) -> None:
    """Nobody listens."""


def _manners(site: Site) -> Manners:
    in_turn = {
        person.id: InTurn(person.ways, person.next_way_after, {str(p): ways for p, ways in person.ways_for.items()})
        for person in site.plan.persons
        if isinstance(person, PersonTable) and person.next_way_after is not None
    }
    fold_after = site.sending.fold_after if site.sending.fold else None
    return Manners(fold_after, Zone(site.plan.timezone), in_turn, Words(site.plan.texts))


def _size(site: Site) -> tuple[str, int, int]:
    return site.plan.name, len(site.plan.points), len(site.plan.rules)


def set_up_logging() -> None:
    """One line an entry on standard error, as a service manager wants it; it adds the time itself."""
    handler = logging.StreamHandler()
    plain = "JOURNAL_STREAM" in os.environ
    handler.setFormatter(
        logging.Formatter("%(message)s" if plain else "%(asctime)s %(levelname)s %(message)s", "%Y-%m-%d %H:%M:%S")
    )
    root = logging.getLogger("tidebed")
    root.handlers = [handler]
    root.setLevel(logging.INFO)
    root.propagate = False
