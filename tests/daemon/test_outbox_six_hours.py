"""Do all messages arrive, in order and once, after six hours in which the receiver did everything wrong?"""

from __future__ import annotations

import random
import threading
from collections import defaultdict
from collections.abc import Callable
from concurrent.futures import Executor, Future
from itertools import pairwise
from pathlib import Path
from typing import Any

from adapters.notify import AppriseNotifier
from adapters.secrets import SecretUrl
from daemon.outbox import Manners, Outbox
from daemon.store import Sending, Store
from demo_replay.receiver import Conduct, Received, Receiver
from rules.texts import ENGLISH

HOURS = 6
TURN = 20
"""Minutes after which the receiver finds another way to fail."""
CLOSED = None
"""Nobody listens: the connection is refused."""
FAILURES = (CLOSED, Conduct.FAIL, Conduct.DROP, Conduct.HANG)


class Time:
    """A wall clock and a monotonic one that move together, by hand."""

    seconds = 1_000_000.0

    def now(self) -> int:
        """As Clock."""
        return round(self.seconds * 1000)

    def monotonic(self) -> float:
        """Seconds."""
        return self.seconds


class AtOnce(Executor):
    """Sends on the calling thread, so that the simulated time stands still meanwhile."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """As Executor."""
        future: Future[Any] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


class Phone:
    """A real HTTP receiver on one port, open or closed."""

    def __init__(self) -> None:
        self.got: list[Received] = []
        self.receiver: Receiver | None = Receiver(self.got.append)
        self.port = self.receiver.port
        # It gives up soon, so that six hours of silence do not take six hours.
        self.address = SecretUrl("phone", f"json://127.0.0.1:{self.port}/anna?rto=0.15&cto=1")

    def behave(self, conduct: Conduct | None) -> None:
        """From now on."""
        if conduct is CLOSED:
            self.close()
            return
        if self.receiver is None:
            self.receiver = Receiver(self.got.append, port=self.port)
        self.receiver.behave(conduct)

    def close(self) -> None:
        """Nobody listens."""
        if self.receiver is not None:
            self.receiver.close()
            self.receiver = None


def test_six_hours_of_every_failure_lose_nothing(tmp_path: Path) -> None:
    """All are delivered, in order, ordinary and critical ones each among themselves; once where it was answered.

    The same id each time; and one that an earlier try may have brought says so, and no other. Restarts in between.
    """
    time, phone, rng = Time(), Phone(), random.Random(6)

    def new_outbox() -> Outbox:
        return Outbox(
            tmp_path / "store.sqlite",
            AppriseNotifier(),
            {"phone": phone.address},
            time,
            lambda *told: refused.append(told),
            manners=Manners(fold_after=None),
            monotonic=time.monotonic,
            rng=rng,
            executor=AtOnce(),
        )

    refused: list[tuple[Sending, str]] = []
    made: list[str] = []
    threads = threading.active_count()
    with Store(tmp_path / "store.sqlite") as store:
        outbox = new_outbox()
        for minute in range(HOURS * 60 + 30):
            if minute % TURN == 0:
                over = minute >= HOURS * 60
                phone.behave(Conduct.ACCEPT if over else FAILURES[minute // TURN % len(FAILURES)])
            if minute % 9 == 0 and minute < HOURS * 60:
                made.append(f"m{minute}")
                priority = "critical" if minute % 27 == 0 else "high"
                store.commit(owed=[Sending(made[-1], "anna", "phone", "t", "b", priority, "first", time.now())])
            if minute % 100 == 99:
                outbox.close()
                outbox = new_outbox()
            end = time.seconds + 60
            while time.seconds < end:
                left = outbox.pump()
                time.seconds = min(end, time.seconds + (60 if left is None else left))
        outbox.close()
        assert store.unsent() == []
        assert store.refused() == []
    phone.close()
    assert refused == []
    tries: dict[str, list[Received]] = defaultdict(list)
    for message in phone.got:
        tries[message.message_id].append(message)
    assert set(tries) == set(made)
    for own in tries.values():
        assert [message.conduct for message in own].count(Conduct.ACCEPT) == 1
        assert own[-1].conduct is Conduct.ACCEPT
        for number, message in enumerate(own):
            taken_in = any(before.conduct in (Conduct.DROP, Conduct.HANG) for before in own[:number])
            assert message.body.endswith(ENGLISH["repeated"]) is taken_in
    assert {message.conduct for message in phone.got} == {Conduct.ACCEPT, Conduct.FAIL, Conduct.DROP, Conduct.HANG}
    accepted = [int(message.message_id[1:]) for message in phone.got if message.conduct is Conduct.ACCEPT]
    for kind in (True, False):
        ordered = [number for number in accepted if (number % 27 == 0) is kind]
        assert all(a < b for a, b in pairwise(ordered))
    assert threading.active_count() <= threads + 1
