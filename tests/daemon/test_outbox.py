"""Is each message recorded before it is sent, sent in order, and sent once wherever the receiver answered?"""

from __future__ import annotations

import random
import threading
from collections import defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, wait
from contextlib import closing
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.notify import Outcome, Result
from adapters.secrets import SecretUrl
from daemon.outbox import Outbox
from daemon.store import Sending, State, Store, StoreReader
from daemon.store.errors import StoreFull
from rules.texts import ENGLISH

OK = Outcome(Result.DELIVERED)
FAILED = Outcome(Result.FAILED, "the service answered 503")
UNKNOWN = Outcome(Result.UNKNOWN, "the service did not confirm it")
REFUSED = Outcome(Result.REFUSED, "the service answered 404")


class AtOnce(Executor):
    """Runs what it is given then and there, for tests that move time by hand."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """As Executor."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except ZeroDivisionError as error:
            future.set_exception(error)
        return future


@dataclass
class Service:
    """A notifier that answers as it is told, and looks at the disk while it has the message."""

    path: Path
    answers: dict[str, list[Outcome]] = field(default_factory=dict)
    got: list[tuple[str, str, str]] = field(default_factory=list)
    """(way, message id, body) of each try."""
    on_disk: list[State] = field(default_factory=list)

    def send(self, way: SecretUrl, title: str, body: str, message_id: str, priority: str, purpose: str = "") -> Outcome:
        """As Notifier."""
        with StoreReader(self.path) as reader:
            self.on_disk += [s.state for s in reader.unsent() if s.message_id == message_id and s.way == way.name]
        self.got.append((way.name, message_id, body))
        answers = self.answers.get(message_id, [])
        return answers.pop(0) if answers else OK

    @property
    def ids(self) -> list[str]:
        """Message ids in order of tries."""
        return [message_id for _, message_id, _ in self.got]

    @property
    def bodies(self) -> list[str]:
        """Bodies in order of tries."""
        return [body for _, _, body in self.got]


@dataclass
class Time:
    """A wall clock and a monotonic one that move together, by hand."""

    seconds: float = 1000.0

    def now(self) -> int:
        """As Clock."""
        return round(self.seconds * 1000)

    def monotonic(self) -> float:
        """Seconds."""
        return self.seconds


class Place:
    """A store, a service and an outbox."""

    def __init__(self, path: Path) -> None:
        self.store = Store(path)
        self.service = Service(path)
        self.time = Time()
        self.told: list[tuple[str, str]] = []
        self.outbox = self.new_outbox()

    def new_outbox(self, executor: Executor | None = None) -> Outbox:
        """As after a restart."""
        self.outbox = Outbox(
            self.store.path,
            self.service,
            {way: SecretUrl(way, f"json://{way}") for way in ("phone", "mail")},
            self.time,
            lambda sending, reason: self.told.append((sending.message_id, reason)),
            monotonic=self.time.monotonic,
            rng=random.Random(5),
            executor=executor or AtOnce(),
        )
        return self.outbox

    def owe(
        self, *ids: str, person: str = "anna", way: str = "phone", priority: str = "high", purpose: str = "first"
    ) -> None:
        """Commit messages of these ids."""
        self.store.commit(owed=[Sending(i, person, way, "title", f"text {i}", priority, purpose, 1) for i in ids])

    def pump(self) -> float | None:
        """Pump until only time can bring more; returns the wait."""
        while (left := self.outbox.pump()) == 0.0:
            pass
        return left

    def pump_on(self, rounds: int = 1) -> None:
        """Pump, and move time to each next try."""
        for _ in range(rounds):
            left = self.pump()
            if left is not None:
                self.time.seconds += left
        self.pump()

    def close(self) -> None:
        """Close all."""
        self.outbox.close()
        self.store.close()


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    """Nothing owed yet."""
    made = Place(tmp_path / "store.sqlite")
    yield made
    made.close()


def test_a_sending_is_recorded_before_it_is_made(place: Place) -> None:
    """While the service has the message, the disk says that it is being tried."""
    place.owe("a")
    place.pump()
    assert place.service.on_disk == [State.TRYING]
    assert place.service.got == [("phone", "a", "text a")]
    assert place.store.unsent() == []


def test_a_message_that_was_answered_is_sent_once(place: Place) -> None:
    """Not again by another round, a restart, or the same notice committed again."""
    place.owe("a")
    place.pump()
    place.owe("a")
    place.pump()
    place.outbox.close()
    place.new_outbox()
    assert place.pump() is None
    assert place.service.ids == ["a"]


def test_a_known_failure_is_tried_again_without_a_word_about_repeats(place: Place) -> None:
    """It cannot have arrived; the id stays."""
    place.service.answers["a"] = [FAILED]
    place.owe("a")
    left = place.pump()
    assert left is not None
    assert 1 <= left <= 2
    assert place.service.ids == ["a"]
    (waiting,) = place.store.unsent()
    assert (waiting.state, waiting.attempts, waiting.reason) == (State.OWED, 1, FAILED.reason)
    assert waiting.next_try == place.time.now() + round(left * 1000)
    place.time.seconds += left
    place.pump()
    assert place.service.bodies == ["text a", "text a"]
    assert place.store.unsent() == []


def test_an_unknown_outcome_is_sent_again_and_says_that_it_may_be_a_repeat(place: Place) -> None:
    """With the same id, and still so after a failure in between."""
    place.service.answers["a"] = [UNKNOWN, FAILED]
    place.owe("a")
    place.pump_on(2)
    assert place.service.ids == ["a", "a", "a"]
    assert place.service.bodies == ["text a", f"text a\n{ENGLISH['repeated']}", f"text a\n{ENGLISH['repeated']}"]
    assert place.outbox.health().doubtful == 2


def test_what_was_being_tried_when_the_daemon_ended_is_sent_again_as_a_repeat(place: Place) -> None:
    """A power cut after the message was handed over."""
    place.owe("a", "b")

    class Gone(AtOnce):
        """Takes the message along into the dark."""

        def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
            fn(*args, **kwargs)
            return Future()

    place.new_outbox(Gone()).pump()
    assert [s.state for s in place.store.unsent()] == [State.TRYING, State.OWED]
    place.outbox.close()
    place.new_outbox()
    place.pump()
    assert place.service.got == [
        ("phone", "a", "text a"),
        ("phone", "a", f"text a\n{ENGLISH['repeated']}"),
        ("phone", "b", "text b"),
    ]


def test_a_message_that_is_tried_again_is_on_disk_as_being_tried_whatever_else_is_answered(place: Place) -> None:
    """An earlier failure is written down once."""
    place.service.answers["a"] = [FAILED]
    place.owe("a")
    left = place.pump()
    assert left is not None
    place.time.seconds += left
    place.owe("b", person="ben")

    class Hanging(AtOnce):
        """Keeps the answer to anna's message."""

        def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
            answered = super().submit(fn, *args, **kwargs)
            return Future() if args[0].message_id == "a" else answered

    place.outbox._executor = Hanging()
    place.pump()
    assert [(s.message_id, s.state) for s in place.store.unsent()] == [("a", State.TRYING)]


def test_order_is_kept_while_one_fails(place: Place) -> None:
    """Those behind it wait, for that person and way alone."""
    place.service.answers["a"] = [FAILED, FAILED]
    place.owe("a", "b")
    place.owe("c", person="ben")
    place.owe("d", way="mail")
    place.pump()
    assert place.service.ids == ["a", "c", "d"]
    place.pump_on(2)
    assert place.service.ids == ["a", "c", "d", "a", "a", "b"]


def test_a_critical_message_overtakes_one_that_fails(place: Place) -> None:
    """And its success brings the others at once, for the way works again."""
    place.service.answers["a"] = [FAILED] * 9
    place.owe("a", "b")
    place.pump_on(7)
    before = len(place.service.got)
    place.service.answers["a"].clear()
    place.owe("c", priority="critical")
    assert place.pump() is None
    assert place.service.ids[before:] == ["c", "a", "b"]


def test_a_message_refused_for_good_is_set_aside_and_told(place: Place) -> None:
    """The next one goes on."""
    place.service.answers["a"] = [REFUSED]
    place.owe("a", "b")
    assert place.pump() is None
    assert place.service.ids == ["a", "b"]
    assert place.told == [("a", REFUSED.reason)]
    assert [(s.message_id, s.reason) for s in place.store.refused()] == [("a", REFUSED.reason)]
    assert "a message to anna by phone was refused and set aside" in place.outbox.health().last_error


def test_a_way_without_an_address_is_told(place: Place) -> None:
    """With what to do about it, and nothing is sent."""
    place.owe("a", way="pager")
    place.pump()
    assert place.told == [("a", "way pager has no address; add it to [ways] in the secrets")]
    assert place.service.got == []


def test_a_fault_in_a_services_code_leaves_a_doubt_and_stops_nothing(place: Place) -> None:
    """The message is tried again, the next person is served."""
    send = place.service.send

    def faulty(way: SecretUrl, title: str, body: str, message_id: str, priority: str, purpose: str = "") -> Outcome:
        outcome = send(way, title, body, message_id, priority)
        return outcome if len(place.service.got) > 1 else Outcome(Result.DELIVERED, str(1 / 0))

    place.service.send = faulty  # type: ignore[method-assign]  # the fault
    place.owe("a")
    place.owe("b", person="ben")
    place.pump_on()
    assert place.service.bodies == ["text a", "text b", f"text a\n{ENGLISH['repeated']}"]
    assert place.store.unsent() == []


def test_sendings_are_counted_apart(place: Place) -> None:
    """By purpose and by what became of them."""
    place.service.answers["r1"] = [REFUSED]
    place.owe("f1", "f2")
    place.owe("r1", "r2", purpose="repeat")
    place.owe("s1", purpose="sign-of-life")
    place.owe("v1", purpose="recovery", way="mail")
    place.pump()
    assert place.outbox.health().sent == {"first": 2, "repeat": 1, "sign-of-life": 1, "recovery": 1}
    assert place.store.tally() == {
        "first": {State.SENT: 2},
        "recovery": {State.SENT: 1},
        "repeat": {State.SENT: 1, State.REFUSED: 1},
        "sign-of-life": {State.SENT: 1},
    }


def test_nothing_is_sent_that_could_not_be_recorded(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk: the message waits, and is sent once when there is room."""
    place.owe("a")

    def full(*_: object) -> None:
        raise StoreFull("no room left")

    with monkeypatch.context() as patch:
        patch.setattr("daemon.outbox.mark_trying", full)
        with pytest.raises(StoreFull):
            place.pump()
    assert place.service.got == []
    place.pump()
    assert place.service.ids == ["a"]


def test_an_answer_that_could_not_be_recorded_is_recorded_later_and_not_sent_again(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk just after the service answered."""
    place.owe("a", "b")

    def full(*_: object) -> None:
        raise StoreFull("no room left")

    with monkeypatch.context() as patch:
        patch.setattr("daemon.outbox.settle", full)
        for _ in range(3):
            with pytest.raises(StoreFull):
                place.pump()
        assert place.service.ids == ["a"]
    place.pump()
    assert place.service.ids == ["a", "b"]
    assert place.store.unsent() == []


def test_waits_grow_and_are_shorter_for_critical_messages(place: Place) -> None:
    """At most five minutes, at most one for what is critical."""
    place.service.answers = {"a": [FAILED] * 20, "c": [FAILED] * 20}
    place.owe("a")
    place.owe("c", person="ben", priority="critical")
    waits: dict[str, list[float]] = {"a": [], "c": []}
    tried: dict[str, float] = {}
    seen = 0
    for _ in range(30):
        left = place.pump()
        for message_id in place.service.ids[seen:]:
            if message_id in tried:
                waits[message_id].append(place.time.seconds - tried[message_id])
            tried[message_id] = place.time.seconds
        seen = len(place.service.got)
        assert left is not None
        place.time.seconds += left
    assert 150 <= max(waits["a"]) <= 300.1
    assert 30 <= max(waits["c"]) <= 60.1
    assert waits["a"][0] <= 2.1


class Hall(Service):
    """A service that keeps every message in its hall until its door is opened."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.inside = threading.Semaphore(0)
        self.left = threading.Semaphore(0)
        self.doors: defaultdict[str, threading.Event] = defaultdict(threading.Event)

    def send(self, way: SecretUrl, title: str, body: str, message_id: str, priority: str, purpose: str = "") -> Outcome:
        """As Notifier."""
        door = self.doors[message_id]
        self.inside.release()
        door.wait(10)
        outcome = super().send(way, title, body, message_id, priority)
        self.left.release()
        return outcome


@pytest.fixture
def hall(place: Place) -> Iterator[Hall]:
    """An outbox on its own thread, with threads for the services."""
    service = Hall(place.store.path)
    outbox = Outbox(place.store.path, service, {"phone": SecretUrl("phone", "json://x")}, place.time, lambda *_: None)
    place.outbox = outbox
    outbox.start()
    yield service
    for door in list(service.doors.values()):
        door.set()
    outbox.stop()


def test_a_commit_wakes_the_outbox(place: Place, hall: Hall) -> None:
    """Without any wait for its next round."""
    place.owe("a")
    place.outbox.wake()
    assert hall.inside.acquire(timeout=10)


def test_a_critical_message_passes_one_that_hangs_with_the_service(place: Place, hall: Hall) -> None:
    """It does not wait for the answer."""
    place.owe("a", "b")
    place.outbox.wake()
    assert hall.inside.acquire(timeout=10)
    place.owe("c", priority="critical")
    hall.doors["c"].set()
    place.outbox.wake()
    assert hall.left.acquire(timeout=10)
    assert hall.ids == ["c"]
    hall.doors["b"].set()
    hall.doors["a"].set()
    assert hall.left.acquire(timeout=10)
    assert hall.left.acquire(timeout=10)
    place.outbox.stop()
    assert hall.ids == ["c", "a", "b"]


def test_stopping_waits_for_the_answer_and_records_it(
    place: Place, hall: Hall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So a clean end leaves no doubt; what was not begun stays owed."""

    def answered_late(*given: Any, **named: Any) -> Any:
        hall.doors["a"].set()
        return wait(*given, **named)

    monkeypatch.setattr("daemon.outbox.wait", answered_late)
    place.owe("a", "b")
    place.outbox.wake()
    assert hall.inside.acquire(timeout=10)
    place.outbox.stop()
    assert [(s.message_id, s.state) for s in place.store.unsent()] == [("b", State.OWED)]
    place.outbox.stop()


lanes = st.sampled_from([("anna", "phone"), ("anna", "mail"), ("ben", "phone")])
owed = st.lists(
    st.tuples(
        lanes,
        st.sampled_from(["critical", "high", "low"]),
        st.lists(st.sampled_from([FAILED, UNKNOWN, REFUSED]), max_size=3),
        st.booleans(),
    ),
    max_size=12,
)


@settings(max_examples=40, deadline=None)
@given(owed)
def test_whatever_fails_each_message_ends_once_and_in_order(
    tmp_path_factory: pytest.TempPathFactory, messages: list[tuple[tuple[str, str], str, list[Outcome], bool]]
) -> None:
    """Each ends delivered or refused, just once; ordinary ones of a lane and critical ones of a lane end in order; a
    try says that it may be a repeat just when one before it was in doubt; restarts change nothing of that."""
    with closing(Place(tmp_path_factory.mktemp("outbox") / "store.sqlite")) as place:
        for number, ((person, way), priority, answers, restart) in enumerate(messages):
            place.service.answers[f"{number}"] = list(answers)
            place.owe(f"{number}", person=person, way=way, priority=priority)
            place.pump()
            if restart:
                place.outbox.close()
                place.new_outbox()
        place.pump_on(60)
        tries: dict[int, list[str]] = defaultdict(list)
        last_try: dict[int, int] = {}
        for at, (_, message_id, body) in enumerate(place.service.got):
            tries[int(message_id)].append(body)
            last_try[int(message_id)] = at
        assert place.store.unsent() == []
        for number, (_, _, answers, _) in enumerate(messages):
            until_end = next((i + 1 for i, answer in enumerate(answers) if answer is REFUSED), len(answers) + 1)
            assert len(tries[number]) == until_end
            said = [body.endswith(ENGLISH["repeated"]) for body in tries[number]]
            assert said == [UNKNOWN in answers[:i] for i in range(until_end)]
        for whose in {(lane, priority == "critical") for lane, priority, _, _ in messages}:
            of_lane = [
                n for n, (lane, priority, _, _) in enumerate(messages) if (lane, priority == "critical") == whose
            ]
            assert all(last_try[a] < last_try[b] for a, b in pairwise(of_lane))
