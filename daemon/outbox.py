"""How does what is owed to people get to them: recorded before it is sent, in order, once wherever possible?"""

from __future__ import annotations

import logging
import random
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping
from concurrent.futures import Executor, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from queue import SimpleQueue

from adapters.backoff import wait_before
from adapters.notify import Notifier, Outcome, Result
from adapters.secrets import SecretUrl
from daemon.answered import ANSWERED, answered
from daemon.folding import fold
from daemon.outbox_lanes import Lane, lane, next_up
from daemon.store import Sending, State, StoreError
from daemon.store.connection import Connection
from daemon.store.sendings import (
    Verdict,
    add_owed,
    became,
    doubt_unfinished,
    mark_trying,
    set_aside,
    settle,
    unsent,
)
from daemon.ways_in_turn import InTurn, siblings, take_turns
from rules.clock import Clock
from rules.local_time import Zone
from rules.texts import Words

AT_ONCE = 4
"""Messages with services at one time, so that one that hangs does not hold up everybody."""
CAP, CRITICAL_CAP = 300.0, 60.0
"""Seconds between two tries at the longest."""
GRACE = 20.0
"""Seconds that stopping waits for answers that are under way."""

_log = logging.getLogger("tidebed.outbox")

Told = Callable[[Sending, str], None]
"""Hears of a message that was refused for good, and why."""


Link = Callable[[Sending, int], str]
"""The line that lets a person acknowledge from the phone, made at the instant (ms UTC) of sending; "" for none."""


def _no_link(sending: Sending, now: int) -> str:
    return ""


@dataclass(frozen=True, slots=True)
class Manners:
    """What the site file says about sending.

    fold_after: age (ms) from which messages that waited while the link was down are folded, None for never; zone: in
    which times are told; in_turn: person -> ways that stand in for each other; words: of the site's language.
    """

    fold_after: int | None = None
    zone: Zone = field(default_factory=lambda: Zone("UTC"))
    in_turn: Mapping[str, InTurn] = field(default_factory=dict)
    words: Words = field(default_factory=lambda: Words({}))


@dataclass(slots=True)
class OutboxHealth:
    """What the outbox has done since it started; shown in the health line.

    waiting: owed and not sent; critical_since: when the oldest of them that is critical was made, ms UTC; sent: by
    purpose (first, repeat, recovery, sign-of-life, ...); tries: in all; doubtful: tries that said that they may be
    repeats; folded, spared: not sent, because a later message or another way told it, or somebody has answered.
    """

    waiting: int = 0
    critical_since: int | None = None
    sent: Counter[str] = field(default_factory=Counter)
    refused: int = 0
    tries: int = 0
    doubtful: int = 0
    folded: int = 0
    spared: int = 0
    last_error: str = ""


class Outbox:
    """Takes what the store owes to people and hands it to the notifier.

    `start` runs it on a thread of its own, with a connection of its own; the loop calls `wake` after a commit that owes
    something. `pump` is one round of it, for that thread and for tests.
    """

    def __init__(
        self,
        path: Path,
        notifier: Notifier,
        ways: Mapping[str, SecretUrl],
        clock: Clock,
        told: Told,
        *,
        manners: Manners | None = None,
        link: Link = _no_link,
        monotonic: Callable[[], float] = time.monotonic,
        rng: random.Random | None = None,
        executor: Executor | None = None,
    ) -> None:
        """path: the store's file; ways: way -> address; told: called on the outbox's thread."""
        self._path, self._notifier, self._ways, self._clock, self._told = path, notifier, ways, clock, told
        self._manners, self._link = manners or Manners(), link
        self._monotonic = monotonic
        self._rng = rng or random.Random()
        self._executor = executor or ThreadPoolExecutor(AT_ONCE, thread_name_prefix="sending")
        self._connection: Connection | None = None
        self._flying: dict[int, tuple[Sending, Future[Outcome]]] = {}
        self._landed: SimpleQueue[int] = SimpleQueue()
        self._unwritten: list[Verdict] = []
        """Outcomes that are known and not yet on disk, because the disk refused them."""
        self._tries: Counter[int] = Counter()
        self._not_before: dict[int, float] = {}
        self._lanes: dict[int, Lane] = {}
        self._back: set[Lane] = set()
        """Lanes that were down and work again."""
        self._health = OutboxHealth()
        self._awake = threading.Event()
        self._stopping = False
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to send."""
        self._thread = threading.Thread(target=self._run, name="outbox")
        self._thread.start()

    def wake(self) -> None:
        """Something new is owed; from any thread."""
        self._awake.set()

    def use(self, manners: Manners) -> None:
        """From the next round on; from any thread."""
        self._manners = manners
        self._awake.set()

    def stop(self) -> None:
        """Start nothing more, wait for answers that are under way, record them; idempotent."""
        self._stopping = True
        self._awake.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None
        self._executor.shutdown()

    def health(self) -> OutboxHealth:
        """A snapshot of the counts."""
        return replace(self._health, sent=self._health.sent.copy())

    def pump(self) -> float | None:
        """Record what has been answered, hand over what is due; returns seconds until more is due, None for never.

        Raises StoreError, after which the next call goes on where this one stopped.
        """
        connection = self._open()
        self._record(connection)
        self._fold(connection)
        owed = unsent(connection)
        needless = answered(connection, owed)
        self._spare(connection, needless, ANSWERED)
        waiting, turn_in = self._in_turn(connection, [sending for sending in owed if sending.number not in needless])
        self._health.waiting = len(waiting)
        self._health.critical_since = min((sending.created for sending in waiting if sending.critical), default=None)
        self._forget(waiting)
        up = next_up(waiting, self._flying, self._not_before, self._monotonic())
        if up.now:
            mark_trying(connection, [sending.number for sending in up.now])
            for sending in up.now:
                self._hand_over(sending)
        if not self._landed.empty():
            return 0.0
        return min((left for left in (up.wait, turn_in) if left is not None), default=None)

    def _fold(self, connection: Connection) -> None:
        """One message for what came and went while a lane was down."""
        manners = self._manners
        back, self._back = self._back, set()
        if manners.fold_after is None or not back:
            return
        now = self._clock.now()
        waiting = [sending for sending in unsent(connection) if sending.number not in self._flying]
        for one in back:
            folded = fold([s for s in waiting if lane(s) == one], now, manners.fold_after, manners.zone, manners.words)
            with connection.transaction():
                if folded.digest is not None:
                    add_owed(connection, [folded.digest])
                    set_aside(connection, folded.over, State.FOLDED, f"told in {folded.digest.message_id}", now)
                set_aside(connection, folded.outdated, State.FOLDED, "a newer message about the same alarm", now)
            self._health.folded += len(folded.over) + len(folded.outdated)

    def _in_turn(self, connection: Connection, waiting: list[Sending]) -> tuple[list[Sending], float | None]:
        """What is not held back for a way before its own, and seconds until something of that is due."""
        people = self._manners.in_turn
        theirs = [sending for sending in waiting if sending.person in people]
        if not theirs:
            return waiting, None
        states = {s.number: became(connection, s.person, siblings(s, people[s.person]).values()) for s in theirs}
        now = self._clock.now()
        turns = take_turns(theirs, states, people, now)
        self._spare(connection, turns.spared, "another way took it")
        aside = turns.held.union(turns.spared)
        left = [sending for sending in waiting if sending.number not in aside]
        return left, None if turns.wait is None else turns.wait / 1000

    def _spare(self, connection: Connection, numbers: list[int], why: str) -> None:
        if numbers:
            with connection.transaction():
                set_aside(connection, numbers, State.SPARED, why, self._clock.now())
            self._health.spared += len(numbers)

    def close(self) -> None:
        """Close the connection; on the thread that pumped."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _run(self) -> None:
        trouble = 0
        while not self._stopping:
            # Cleared first: what becomes owed from here on wakes the wait below.
            self._awake.clear()
            try:
                left = self.pump()
                trouble = 0
            except StoreError as error:
                trouble += 1
                left = wait_before(trouble, self._rng.random(), CRITICAL_CAP)
                self._failed(f"messages cannot be recorded and wait: {error}")
            if not self._stopping:
                self._awake.wait(left)
        wait([future for _, future in self._flying.values()], timeout=GRACE)
        try:
            self._record(self._open())
        except StoreError as error:
            self._failed(f"the last answers could not be recorded; those messages will be sent again: {error}")
        self.close()

    def _open(self) -> Connection:
        if self._connection is None:
            connection = Connection(self._path)
            # Whatever a former run left in the making may have arrived.
            doubt_unfinished(connection)
            self._connection = connection
        return self._connection

    def _hand_over(self, sending: Sending) -> None:
        self._tries[sending.number] += 1
        self._lanes[sending.number] = lane(sending)
        self._health.tries += 1
        self._health.doubtful += sending.uncertain
        future = self._executor.submit(self._send, sending)
        self._flying[sending.number] = (sending, future)
        future.add_done_callback(partial(self._land, sending.number))

    def _land(self, number: int, _: Future[Outcome]) -> None:
        self._landed.put(number)
        self._awake.set()

    def _send(self, sending: Sending) -> Outcome:
        way = self._ways.get(sending.way)
        if way is None:
            return Outcome(Result.REFUSED, f"way {sending.way} has no address; add it to [ways] in the secrets")
        repeated = self._manners.words.say("repeated") if sending.uncertain else ""
        lines = (sending.body, repeated, self._link(sending, self._clock.now()))
        body = "\n".join(line for line in lines if line)
        return self._notifier.send(way, sending.title, body, sending.message_id, sending.priority, sending.purpose)

    def _record(self, connection: Connection) -> None:
        refused: list[tuple[Sending, str]] = []
        while not self._landed.empty():
            number = self._landed.get()
            sending, future = self._flying.pop(number)
            verdict = self._judge(sending, future)
            self._unwritten.append(verdict)
            if verdict.state is State.REFUSED:
                refused.append((sending, verdict.reason))
        for sending, reason in refused:
            self._failed(f"a message to {sending.person} by {sending.way} was refused and set aside: {reason}")
            self._told(sending, reason)
        if self._unwritten:
            settle(connection, self._unwritten)
            self._unwritten.clear()

    def _judge(self, sending: Sending, future: Future[Outcome]) -> Verdict:
        error = future.exception()
        if error is None:
            outcome = future.result()
        else:
            # A fault in a service's own code. Its text may show an address, its name does not.
            outcome = Outcome(Result.UNKNOWN, f"the service's part of the program failed ({type(error).__name__})")
        now = self._clock.now()
        if outcome.result is Result.DELIVERED:
            self._health.sent[sending.purpose] += 1
            if sending.attempts:
                self._back.add(lane(sending))
            # The way works again: nothing else in this lane need wait for its time.
            for number in [n for n in self._not_before if self._lanes[n] == lane(sending)]:
                del self._not_before[number]
            return Verdict(sending.number, State.SENT, settled=now)
        if outcome.result is Result.REFUSED:
            self._health.refused += 1
            return Verdict(sending.number, State.REFUSED, reason=outcome.reason, settled=now)
        longest = CRITICAL_CAP if sending.critical else CAP
        left = wait_before(self._tries[sending.number], self._rng.random(), longest)
        self._not_before[sending.number] = self._monotonic() + left
        self._failed(
            f"a message to {sending.person} by {sending.way} waits {left:.0f} s for its next try: {outcome.reason}"
        )
        doubt = outcome.result is Result.UNKNOWN
        return Verdict(sending.number, State.OWED, doubt, outcome.reason, now + round(left * 1000))

    def _forget(self, waiting: list[Sending]) -> None:
        kept = {sending.number for sending in waiting}
        for memory in (self._tries, self._not_before, self._lanes):
            for number in [n for n in memory if n not in kept]:
                del memory[number]

    def _failed(self, text: str) -> None:
        self._health.last_error = text
        _log.warning("%s", text)
