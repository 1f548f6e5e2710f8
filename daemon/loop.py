"""How do readings become durable and judged, one group after the other? Take, judge, commit, acknowledge."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Protocol

from adapters.intake import Adapter, Delivery
from daemon.batch import Batch, Columns, Dater, sendings
from daemon.clock import PlayedClock, SystemClock
from daemon.coarse import KEY as COARSE
from daemon.coarse import Coarse
from daemon.entries import dated, entry_of, is_reading, refused
from daemon.queue import DeliveryQueue
from daemon.settings_changes import KIND as SETTINGS
from daemon.settings_changes import settings_of, told_changes
from daemon.store import Store, StoreError
from daemon.tally import Tally
from rules.acts import Act, ActKind
from rules.calibrations import Calibrations
from rules.clock import Clock
from rules.durations import DAY
from rules.engine import Engine
from rules.errors import UnitError, ValueRefused
from rules.events import Event, show_time
from rules.flags import Flag
from rules.plan import Plan

MOST = 5_000
"""Deliveries taken into one group at most."""
QUIET_CHECKPOINT = 10.0
"""Seconds between checkpoints while nothing comes in, so that an `off` span begins near the truth."""
SEAL_EVERY = 5.0
"""Seconds between looks for a day that is over and can be sealed: one point's day at a time."""
TIDY_EVERY = 60
"""Commits between two times that the write-ahead log is moved into the store's file."""
LONGEST_REST = 0.02
"""Seconds between two turns at least, where the one before took that long: what it adds to a message's delay."""
INBOX_EVERY = 1.0
"""Seconds between looks at what other processes have handed in."""
SET_FORWARD = "the board's clock was set forward"
"""Why there is an `off` span though the daemon ran."""


class Listener(Protocol):
    """Hears every event once it is on disk."""

    def __call__(self, events: Sequence[Event]) -> None:
        """Called on the loop's thread; must be quick."""


class Loop:
    """The daemon's one judging thread."""

    def __init__(
        self,
        plan: Plan,
        store: Store,
        queue: DeliveryQueue,
        clock: Clock,
        adapters: Sequence[Adapter],
        *,
        commit_every: float = 1.0,
        wake_outbox: Callable[[], None] = lambda: None,
        listener: Listener = lambda events: None,
        say: Callable[[str], None] = lambda text: None,
        monotonic: Callable[[], float] = time.monotonic,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        """commit_every: seconds. say: one line for the log. The checkpoint in the store, if any, is taken up."""
        self.plan, self.store, self.queue, self.clock, self.adapters = plan, store, queue, clock, adapters
        self.commit_every, self.wake_outbox, self.listener, self.say = commit_every, wake_outbox, listener, say
        self.monotonic, self._wait = monotonic, wait
        self._points = {point.id: point for point in plan.points}
        self.calibrations = Calibrations(plan.points, store.calibrations())
        self.tally = Tally()
        self.stopping = False
        self.new_plan: Plan | None = None
        self._dater = Dater()
        self._columns = Columns()
        self._batch = Batch.empty()
        self._effective: int | None = None
        self._committed = monotonic()
        self._looked = 0.0
        self._tidied = 0
        self._worked = 0.0
        """Seconds that the last turn took to judge."""
        self._sealed = monotonic()
        self._catching_up_until: float | None = None
        self._acts: list[Act] = []
        """Not judged yet."""
        self._hurry = False
        """A sender's window may soon be full: it waits for acknowledgements, so the commit does not wait."""
        self._failed = False
        """The last commit could not be made; nothing more is taken until one can."""
        self._deaf = False
        """What people hand in could not be read at the last look."""
        if isinstance(clock, SystemClock):
            clock.leap()  # it may have been set before there was anything to watch
        saved = store.checkpoint()
        self.restarts: list[int] = []
        """When a daemon began to watch again within the last day, ms UTC; this one too."""
        self.engine: Engine | None = None
        if saved is not None:
            self.engine = Engine.restore(plan, saved)
            self._restarted(self.engine)
        elif not isinstance(clock, PlayedClock):
            # Before any adapter starts: what comes from here on is not from before the engine's first instant.
            self.engine = Engine(plan, clock.now())
        self._coarse = Coarse(store.meta(COARSE))
        self._meta: dict[str, str] = {}
        """Goes on disk with the next commit."""
        self._note_settings()

    def _restarted(self, engine: Engine) -> None:
        self._catching_up_until = self.monotonic() + self.plan.catch_up / 1000
        now = self.clock.now()
        # Where nothing settles, the instant of the checkpoint has been judged.
        begin = max(engine.now, engine.frontier + 1)
        if now > begin:
            self._acts.append(Act(begin, ActKind.OFF, "tidebed", until=now))
            offs = [act for act in self.store.acts(now - DAY) if act.kind is ActKind.OFF]
            self.restarts = [act.until or 0 for act in offs if act.text != SET_FORWARD]
            self.restarts.append(now)
            self.say(f"the daemon did not run from {show_time(engine.now)} to {show_time(now)}")

    def _skip(self, engine: Engine) -> None:
        """A clock that was set forward skips time which nobody watched: no delay and no repeat counts through it."""
        until = self.clock.leap() if isinstance(self.clock, SystemClock) else None
        begin = max(engine.now, engine.frontier + 1)
        if until is not None and until > begin:
            self._acts.append(Act(begin, ActKind.OFF, "tidebed", until=until, text=SET_FORWARD))
            self.say(f"{SET_FORWARD} from {show_time(begin)} to {show_time(until)}")

    def _note_settings(self) -> None:
        """Write into the log which settings are others than before; not on played days, which are what they were."""
        if self.engine is None or isinstance(self.clock, PlayedClock):
            return
        now, before = settings_of(self.plan), self.store.meta(SETTINGS)
        if now == before:
            return
        self._meta[SETTINGS] = now
        if before is not None and (told := told_changes(before, now)):
            time = max(self.clock.now(), self.engine.frontier + 1)
            self._acts.append(Act(time, ActKind.NOTE, "tidebed", text=told, data={"kind": SETTINGS}))

    def run(self) -> None:
        """Until `stop`: everything taken by then is judged, on disk and acknowledged."""
        while not self.stopping:
            self.turn(self._next_turn())
        self.turn(self.monotonic())
        self._step(self.clock.now())
        self._commit()

    def stop(self) -> None:
        """Ask the loop to end; from any thread or a signal handler."""
        self.stopping = True
        self.queue.wake()

    def reload(self, plan: Plan) -> None:
        """Take up another plan at the next turn; from any thread."""
        self.new_plan = plan
        self.queue.wake()

    def turn(self, until: float) -> None:
        """One group: what comes until the monotonic time `until` is judged, and committed where it is due."""
        if self._failed:
            self._retry(until)
            return
        for delivery in self.queue.take(until, MOST):
            self._take(delivery)
        self._look_into_inbox()
        if self.new_plan is not None:
            self._take_up(self.new_plan)
        begun = self.monotonic()
        if not isinstance(self.clock, PlayedClock):
            if self.engine is not None:
                self._skip(self.engine)
            self._step(self.clock.now())
        now = self.monotonic()
        self._worked = now - begun
        waited = now - self._committed
        if (
            self._batch.urgent
            or self._hurry
            or (self._pending and waited >= self.commit_every * 0.9)
            or waited >= QUIET_CHECKPOINT
        ):
            self._commit()
        if not self._pending:
            self._seal()
            self._tidy()

    def _seal(self) -> None:
        """In a quiet moment; a played clock's days are left as they are."""
        now = self.monotonic()
        if now - self._sealed < SEAL_EVERY or isinstance(self.clock, PlayedClock):
            return
        self._sealed = now
        try:
            self.store.seal_step(self.clock.now())
        except StoreError as error:
            self.say(f"a day could not be sealed and stays as it is: {error}")

    def _tidy(self) -> None:
        """Between two commits, so that none that somebody waits for has to do it."""
        if self.tally.commits - self._tidied < TIDY_EVERY:
            return
        self._tidied = self.tally.commits
        try:
            self.store.tidy()
        except StoreError as error:
            self.say(f"the store's log could not be moved into its file: {error}")

    def _retry(self, until: float) -> None:
        if self.stopping or self.monotonic() - self._committed >= INBOX_EVERY:
            self._commit()
        else:
            self._wait(max(0.0, min(until, self._committed + INBOX_EVERY) - self.monotonic()))

    @property
    def _pending(self) -> bool:
        return self._batch.anything or self._columns.count > 0

    def _next_turn(self) -> float:
        now = self.monotonic()
        until = min(
            self._committed + self.commit_every if self._pending else now + self.commit_every, now + INBOX_EVERY
        )
        if self.engine is not None and not isinstance(self.clock, PlayedClock):
            due = self.engine.next_instant()
            if due is not None:
                left = (due + self.plan.settle - self.clock.now()) / 1000
                # As long a rest as the last turn took work, so that readings that come all the time are judged by the
                # dozen and other threads, which send messages, have half of the processor's time.
                until = min(until, now + max(left, min(self._worked, LONGEST_REST)))
        return until

    def _take(self, delivery: Delivery) -> None:
        now = self.clock.now()
        for reading in delivery.readings:
            if reading.point not in self._points:
                self.tally.refused["point not in the site file"] += 1
                continue
            self._columns.add(reading.point, self._dater.date(reading, now), reading.counts, reading.flag)
        for refusal in delivery.refusals:
            self.tally.refused[refusal.cause] += 1
        self.tally.rounded += delivery.rounded
        if delivery.coarse and (kept := self._coarse.note(delivery.coarse, self._points)) is not None:
            self._meta[COARSE] = kept
        self._batch.done.append(delivery.done)
        self._hurry = self._hurry or delivery.wants_commit
        if delivery.clock is not None and isinstance(self.clock, PlayedClock):
            self.clock.set(delivery.clock)
            self._step(self.clock.now())
            if self._batch.urgent:
                self._commit()

    def _caught_up(self) -> bool:
        if self._catching_up_until is None:
            return True
        if all(adapter.drained() for adapter in self.adapters) or self.monotonic() >= self._catching_up_until:
            self._catching_up_until = None
            return True
        return False

    def _step(self, now: int) -> None:
        """Judge what has come; while the backlog of a restart comes in, only take it up."""
        if self.engine is None:
            if self.clock.now() == 0:
                return
            self.engine = Engine(self.plan, self.clock.now())
        engine = self.engine
        blocks = self._columns.blocks()
        acts, self._acts = self._acts, []
        before = engine.frontier
        judged = [self.calibrations.judged(block) for block in blocks]
        events = engine.step(judged, acts, now if self._caught_up() else engine.now)
        self.tally.behind += len(engine.behind)
        if engine.behind:
            self._effective = before + 1
        self._batch.blocks.extend(blocks)
        self._batch.acts.extend(acts)
        self._batch.behind.extend(engine.behind)
        self._batch.judged.extend(engine.judged.parts.values())
        self._batch.finals.extend(engine.judged.finals.items())
        self._batch.events.extend(events)
        ways = {person.id: person.ways for person in self.plan.persons}
        self._batch.owed.extend(sendings(events, ways))

    def _look_into_inbox(self) -> None:
        now = self.monotonic()
        if now - self._looked < INBOX_EVERY and not self.stopping:
            return
        self._looked = now
        known = set(self._batch.taken)
        try:
            for number, act in self.store.inbox():
                if number not in known and self.engine is not None:
                    self._take_act(number, act, self.engine)
        except StoreError as error:
            if not self._deaf:
                self.say(f"what people hand in cannot be read and waits: {error}")
            self._deaf = True
        else:
            self._deaf = False

    def _take_act(self, number: int, act: Act, engine: Engine) -> None:
        taken = dated(act, engine.frontier + 1, self.clock.now(), self._newest)
        if taken.kind is ActKind.CALIBRATE:
            self.calibrations.add(taken)
        elif is_reading(taken):
            taken = self._take_entry(taken)
        self._acts.append(taken)
        self._batch.taken.append(number)

    def _take_entry(self, act: Act) -> Act:
        try:
            entry = entry_of(act, self._points, self._newest)
        except (ValueRefused, UnitError) as error:
            self.tally.refused["a reading by hand that fits no point"] += 1
            return refused(act, error)
        self._columns.add(entry.point, entry.time, entry.counts, Flag.NOT_EVALUATED)
        self._dater.heard(entry.point, entry.time)
        return act

    def _newest(self, point: str) -> int:
        stored = self.store.latest(point)
        return max(self._dater.newest(point), 0 if stored is None else stored[0])

    def _take_up(self, plan: Plan) -> None:
        self.new_plan = None
        self._step(self.engine.now if self.engine is not None else self.clock.now())
        self._commit()
        self.plan = plan
        self._points = {point.id: point for point in plan.points}
        self.store.use(plan.points)
        self.calibrations = Calibrations(plan.points, self.store.calibrations())
        if self.engine is not None:
            self.engine = Engine.restore(plan, self.engine.state())
        self._note_settings()
        self.say("the new site file is in use")

    def _commit(self) -> None:
        engine, batch = self.engine, self._batch
        if engine is None:
            return
        if self._columns.count or self._acts:
            self._step(engine.now)
        begun = self.monotonic()
        self._committed = begun
        try:
            committed = self.store.commit(
                batch.blocks,
                events=batch.events,
                checkpoint=engine.state(),
                acts=batch.acts,
                behind=batch.behind,
                effective=self._effective,
                judged=batch.judged,
                finals=batch.finals,
                owed=batch.owed,
                taken=batch.taken,
                meta=self._meta,
            )
        except StoreError as error:
            if not self._failed:
                self.say(f"readings cannot be stored and wait: {error}")
            self._failed = True
            self.tally.refused["could not be stored yet"] += 1
            return
        self._failed = self._hurry = False
        self._batch, self._effective, self._meta = Batch.empty(), None, {}
        self._committed = self.monotonic()
        for done in batch.done:
            done()
        self.tally.commits += 1
        self.tally.readings += committed.readings
        self.tally.repeats += committed.repeats
        self.tally.contradicted += committed.contradicted
        self.tally.slowest_commit = max(self.tally.slowest_commit, self._committed - begun)
        if batch.owed:
            self.wake_outbox()
        if batch.events:
            self.listener(batch.events)
