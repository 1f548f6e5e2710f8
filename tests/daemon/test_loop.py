"""Does the loop take, judge, commit and only then acknowledge?"""

from __future__ import annotations

import dataclasses
import json
import sqlite3
from collections.abc import Callable, Iterator
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from adapters.intake import Arrived, Delivery, Health, Inlet, Refusal
from daemon.clock import SystemClock
from daemon.coarse import KEY as COARSE
from daemon.coarse import Coarse
from daemon.loop import QUIET_CHECKPOINT, TIDY_EVERY, Loop
from daemon.queue import DeliveryQueue
from daemon.store import Store, StoreError, StoreReader, hand_in
from rules.acts import Act, ActKind
from rules.clock import Clock
from rules.conditions import KINDS
from rules.events import Event
from rules.local_time import Zone
from rules.people import PersonSettings
from rules.plan import Plan, PointPlan
from rules.quality.all_points import final_flags
from rules.quality.gross_range import GrossRangeSettings
from rules.quality.spike import SpikeSettings

START = 1_780_000_000_000


class Hands:
    """A clock and a monotonic clock that tests move."""

    def __init__(self) -> None:
        self.wall = START
        self.mono = 0.0

    def now(self) -> int:
        """ms UTC."""
        return self.wall

    def monotonic(self) -> float:
        """Seconds."""
        return self.mono

    def forward(self, seconds: float) -> None:
        """Both move on together."""
        self.wall += round(seconds * 1000)
        self.mono += seconds


class Backlog:
    """An adapter whose backlog is drained when a test says so."""

    name = "test"

    def __init__(self) -> None:
        self.is_drained = True

    def start(self, inlet: Inlet, clock: Clock) -> None:
        """Nothing to start."""

    def stop(self) -> None:
        """Nothing to stop."""

    def drained(self) -> bool:
        """As the test says."""
        return self.is_drained

    def health(self) -> Health:
        """Nothing to tell."""
        return Health(self.name)


def make_plan(on_delay: str = "0 s") -> Plan:
    """Flow with a stopped-water rule and a keeper."""
    rule = KINDS["stopped"].model_validate(
        {
            "id": "loop.stopped",
            "kind": "stopped",
            "priority": "critical",
            "evidence": [{"point": "loop.flow", "under": 2}],
            "on_delay": on_delay,
        }
    )
    point = PointPlan("loop.flow", "flow", "L/min", Fraction(1, 10), 10_000, 600_000)
    return Plan("Test", "UTC", (point,), (rule,), (), (PersonSettings(id="keeper", ways=("phone",)),))


class Bench:
    """A loop on a real store, driven turn by turn."""

    def __init__(self, path: Path, hands: Hands, plan: Plan, clock: Clock | None = None) -> None:
        self.path, self.hands, self.plan, self.clock = path, hands, plan, clock or hands
        self.adapter = Backlog()
        self.events: list[Event] = []
        self.said: list[str] = []
        self.acknowledged: list[int] = []
        self.open()

    def open(self) -> None:
        """Start, or start again."""
        self.store = Store(self.path, self.plan.points)
        self.queue = DeliveryQueue(monotonic=self.hands.monotonic)
        self.loop = Loop(
            self.plan,
            self.store,
            self.queue,
            self.clock,
            [self.adapter],
            listener=lambda events: self.events.extend(events),
            say=self.said.append,
            monotonic=self.hands.monotonic,
            wait=self.hands.forward,
        )

    def crash(self) -> None:
        """Gone without a farewell."""
        self.store.close()

    def send(self, counts: int, time: int | None = None, point: str = "loop.flow") -> None:
        """One reading in a delivery of its own."""
        number = len(self.acknowledged) + len(self.queue)
        done: Callable[[], None] = lambda: self.acknowledged.append(number)  # noqa: E731 - a line is clearer here
        self.queue.put(Delivery("test", [Arrived(point, time, counts, 2)], done=done))

    def turn(self, seconds: float = 1.0) -> None:
        """Time passes, then the loop takes what came."""
        self.hands.forward(seconds)
        self.loop.turn(self.hands.mono)

    def stored(self) -> list[tuple[int, int]]:
        """(time, counts) of what is on disk."""
        blocks = self.store.read("loop.flow", 0, 2**62)
        return [(int(t), int(v)) for b in blocks for t, v in zip(b.times, b.values, strict=True)]

    def states(self) -> list[str]:
        """The states that alarms went through."""
        return [event.body["state"] for event in self.events if event.type == "alarm"]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A loop at its first start."""
    made = Bench(tmp_path / "store.sqlite", Hands(), make_plan())
    yield made
    made.store.close()


def test_a_reading_is_acknowledged_only_when_it_is_on_disk(bench: Bench) -> None:
    """While the group waits nothing is acknowledged; with the commit everything is."""
    bench.send(299, START + 1_000)
    bench.turn()
    bench.send(300, START + 1_050)
    bench.turn(0.1)
    assert (bench.stored(), bench.acknowledged) == ([(START + 1_000, 299)], [0])
    bench.turn()
    assert bench.stored() == [(START + 1_000, 299), (START + 1_050, 300)]
    assert bench.acknowledged == [0, 1]


def test_what_the_quality_tests_said_is_kept_beside_what_came(tmp_path: Path) -> None:
    """As a replay says it too: a spike passes when rules judge it, and fails in the end; with a restart between."""
    plan = make_plan()
    low = GrossRangeSettings.model_validate({"suspect_low": 1})
    tests = (low, SpikeSettings(suspect=Decimal(1), fail=Decimal(5), method="differential"))
    point = dataclasses.replace(plan.points[0], quality=tests)
    bench = Bench(tmp_path / "store.sqlite", Hands(), dataclasses.replace(plan, points=(point,)))
    for n, counts in enumerate((300, 300, 900, 300, 5, 5, 5)):
        bench.send(counts, START + 2_000 * n + 1_000)
        bench.turn()
        bench.turn()
        if n == 2:
            bench.crash()
            bench.open()
    bench.turn(QUIET_CHECKPOINT)
    (came,) = bench.store.read("loop.flow", 0, 2**62)
    (final,) = bench.store.read_final("loop.flow", 0, 2**62)
    assert came.flags.tolist() == [2] * 7
    replayed = final_flags([point], {"loop.flow": came}, Zone("UTC"))["loop.flow"].tolist()
    assert final.flags.tolist() == replayed
    assert replayed[2] == 4
    assert replayed[5] == 3
    bench.store.close()


def test_a_payload_without_a_time_gets_the_next_free_millisecond(bench: Bench) -> None:
    """Three that arrive in one instant stay three readings."""
    for counts in (300, 301, 302):
        bench.send(counts)
    bench.turn()
    bench.turn()
    now = START + 1_000
    assert bench.stored() == [(now, 300), (now + 1, 301), (now + 2, 302)]


def test_an_alarm_is_committed_at_once(bench: Bench) -> None:
    """Neither the event nor what is owed to the phone waits for the group."""
    bench.turn()
    bench.send(0, START + 1_000)
    bench.turn(0.1)
    bench.turn(0.95)
    assert bench.states() == ["unacknowledged"]
    assert [sending.title for sending in bench.store.unsent()] == ["Water has stopped"]


def test_a_point_that_is_not_in_the_site_file_is_counted_and_acknowledged(bench: Bench) -> None:
    """It is refused by cause, and its sender need not send it again."""
    bench.send(1, point="moon.level")
    bench.queue.put(Delivery("test", refusals=[Refusal("not a number", "x")]))
    bench.turn()
    bench.turn()
    assert bench.loop.tally.refused == {"point not in the site file": 1, "not a number": 1}
    assert bench.acknowledged == [0]


def test_that_a_point_loses_digits_is_kept_once(bench: Bench) -> None:
    """With the step that was too coarse, and beside what was kept of other points."""
    for _ in range(2):
        bench.queue.put(Delivery("test", [Arrived("loop.flow", None, 299, 2)], rounded=1, coarse=["loop.flow"]))
        bench.turn()
    points = {point.id: point for point in bench.plan.points}
    assert bench.store.meta(COARSE) == Coarse(None).note(["loop.flow"], points)
    assert json.loads(bench.store.meta(COARSE) or "") == {"loop.flow": "0.1 L/min"}
    assert bench.loop.tally.rounded == 2


def test_when_the_disk_refuses_readings_wait_and_nothing_is_acknowledged(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is said once, tried again each second, and goes on as if nothing had been."""
    bench.turn()

    def refuse(*_: object, **__: object) -> None:
        raise StoreError("the disk is full; make room")

    with monkeypatch.context() as broken:
        broken.setattr(bench.store, "commit", refuse)
        bench.send(300, START + 1_000)
        for _ in range(4):
            bench.turn()
        assert bench.acknowledged == []
        assert bench.said == ["readings cannot be stored and wait: the disk is full; make room"]
    for _ in range(3):
        bench.turn()
    assert bench.stored() == [(START + 1_000, 300)]
    assert bench.acknowledged == [0]


def test_the_span_without_a_daemon_is_logged_and_counts_for_no_delay(tmp_path: Path) -> None:
    """Water that stopped 30 s before a power cut of an hour is 30 s old afterwards: the alarm comes 60 s later."""
    bench = Bench(tmp_path / "store.sqlite", Hands(), make_plan("90 s"))
    bench.turn()
    bench.send(0, START + 1_000)
    for _ in range(31):
        bench.turn()
    bench.crash()
    stopped = bench.hands.wall
    bench.hands.forward(3600)
    bench.open()
    back = bench.hands.wall
    bench.send(0, back)
    for _ in range(120):
        bench.turn()
    off = [event for event in bench.events if event.type == "off"]
    assert len(off) == 1
    assert stopped - off[0].t <= 10_000
    assert off[0].body["until"] == back
    raised = [event.t for event in bench.events if event.type == "alarm"]
    assert raised == [back + 90_000 - (off[0].t - (START + 1_000))]
    bench.store.close()


def test_a_clock_that_is_set_forward_skips_what_nobody_watched(tmp_path: Path) -> None:
    """An hour of it ends no delay, makes nothing stale, repeats nothing and is no start; the log says what it was."""
    hands = Hands()
    clock = SystemClock(lambda: hands.wall * 1_000_000, lambda: round(hands.mono * 1_000_000_000))
    bench = Bench(tmp_path / "store.sqlite", hands, make_plan("90 s"), clock)
    bench.turn()
    bench.send(0, START + 1_000)
    bench.turn(31)
    left = hands.wall
    hands.wall += 3_600_000
    bench.turn()
    bench.send(0, hands.wall)
    bench.turn(80)
    off = [event for event in bench.events if event.type == "off"]
    assert [(event.t, event.body) for event in off] == [
        (left, {"until": left + 3_601_000, "why": "the board's clock was set forward"})
    ]
    raised = [event.t for event in bench.events if event.type == "alarm"]
    assert raised == [START + 1_000 + 90_000 + 3_601_000]
    assert len([event for event in bench.events if event.type == "notice"]) == 1
    bench.crash()
    hands.forward(60)
    bench.open()
    assert bench.loop.restarts == [hands.wall]
    bench.store.close()


def test_of_repeats_that_a_stall_held_back_only_the_last_is_owed(bench: Bench) -> None:
    """The disk was full for an hour, say: nobody needs eleven messages of the same at once."""
    bench.send(0, START)
    bench.turn(10)
    bench.hands.forward(3600)
    for minute in range(60):
        bench.send(0, START + 60_000 * minute)
    bench.turn(2)
    told = [event for event in bench.events if event.type == "notice"]
    assert len(told) > 10
    with StoreReader(bench.path) as store:
        owed = store.unsent()
    assert [(one.purpose, one.created) for one in owed] == [("first", told[0].t), ("repeat", told[-1].t)]


def test_starts_within_a_day_are_remembered(tmp_path: Path) -> None:
    """The first of all is none; those of more than a day ago are not among them."""
    bench = Bench(tmp_path / "store.sqlite", Hands(), make_plan())
    seen = [bench.loop.restarts]
    begun = []
    for hours in (1, 1, 1, 23):
        bench.turn(12)
        bench.crash()
        bench.hands.forward(3600 * hours)
        bench.open()
        begun.append(bench.hands.wall)
        seen.append(bench.loop.restarts)
    assert seen == [[], begun[:1], begun[:2], begun[:3], begun[2:]]
    bench.store.close()


def test_after_a_restart_the_backlog_is_heard_in_its_place(tmp_path: Path) -> None:
    """What waited at the broker is judged at its own time, not late, because judging waits until it has come."""
    bench = Bench(tmp_path / "store.sqlite", Hands(), make_plan())
    for second in range(20):
        bench.send(300, START + 1_000 * second)
        bench.turn()
    bench.crash()
    left = bench.hands.wall
    bench.hands.forward(60)
    bench.adapter.is_drained = False
    bench.open()
    bench.turn()
    for second in range(5, 55, 10):
        bench.send(0 if second == 25 else 300, left + 1_000 * second)
        bench.turn()
    assert bench.states() == []
    bench.adapter.is_drained = True
    bench.turn(3)
    times = [event.t for event in bench.events if event.type == "alarm"]
    assert times == [left + 25_000, left + 35_000]
    assert bench.loop.tally.behind == 0
    bench.store.close()


def test_a_backlog_that_never_ends_is_waited_for_no_longer_than_catch_up(tmp_path: Path) -> None:
    """After `catch_up` judging goes on."""
    bench = Bench(tmp_path / "store.sqlite", Hands(), make_plan())
    bench.send(300, START)
    bench.turn()
    bench.turn()
    bench.crash()
    bench.adapter.is_drained = False
    bench.hands.forward(10)
    bench.open()
    assert bench.loop.engine is not None
    before = bench.loop.engine.frontier
    bench.turn(59)
    assert bench.loop.engine.frontier == before
    bench.turn(1)
    assert bench.loop.engine.frontier > before
    bench.store.close()


def test_an_act_from_another_process_is_taken_once_and_logged(bench: Bench) -> None:
    """An acknowledgement by `tidebed ack` reaches the alarm, and the inbox is empty afterwards."""
    bench.turn()
    bench.send(0, START + 1_000)
    for _ in range(3):
        bench.turn()
    hand_in(bench.path, Act(bench.hands.wall, ActKind.ACKNOWLEDGE, "anna", "loop.stopped", text="spare pump"))
    for _ in range(3):
        bench.turn()
    assert bench.states() == ["unacknowledged", "acknowledged"]
    assert bench.store.inbox() == []
    assert [(act.who, act.text) for act in bench.store.acts()] == [("anna", "spare pump")]


def test_what_comes_before_the_first_turn_is_not_late(bench: Bench) -> None:
    """The engine's first instant is when the loop was made, before any adapter started."""
    bench.hands.forward(0.2)
    bench.send(0, bench.hands.wall)
    for _ in range(3):
        bench.turn()
    assert bench.loop.tally.behind == 0
    assert bench.states() == ["unacknowledged"]


def test_a_change_of_settings_is_in_the_log_at_a_reload_and_at_a_start(bench: Bench) -> None:
    """What was, what is; nothing at the very first start, and nothing where nothing changed."""
    bench.turn()
    bench.plan = make_plan("45 s")
    bench.loop.reload(bench.plan)
    bench.turn()
    bench.turn(30)
    bench.crash()
    bench.open()
    bench.turn(30)
    bench.crash()
    bench.plan = make_plan("50 s")
    bench.open()
    bench.turn(30)
    bench.turn(30)
    told = [(act.who, act.text) for act in bench.store.acts() if act.kind is ActKind.NOTE]
    assert told == [
        ("tidebed", "loop.stopped on_delay unset -> 45 s"),
        ("tidebed", "loop.stopped on_delay 45 s -> 50 s"),
    ]


def test_the_stores_log_is_moved_into_its_file_now_and_then(bench: Bench) -> None:
    """Once in so many commits, and not within one that somebody waits for: the file alone then holds the readings."""
    for second in range(TIDY_EVERY):
        bench.send(300, START + 1_000 * second)
        bench.turn()
    bench.turn()
    before = bench.path.stat().st_mtime_ns
    assert bench.loop.tally.commits >= TIDY_EVERY
    with sqlite3.connect(f"{bench.path.as_uri()}?mode=ro&immutable=1", uri=True) as alone:  # without the log
        (count,) = alone.execute("SELECT count(*) FROM reading").fetchone()
    alone.close()
    assert count >= TIDY_EVERY - 2
    bench.send(300, bench.hands.wall)
    bench.turn()
    assert bench.path.stat().st_mtime_ns == before


def test_what_people_hand_in_waits_while_it_cannot_be_read(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Watching goes on, it is said once, and the act is taken as soon as the store can be asked again."""
    bench.turn()
    hand_in(bench.path, Act(0, ActKind.NOTE, "Anna", data={"kind": "seen"}))

    def fails() -> list[tuple[int, Act]]:
        raise StoreError("the disk does not answer")

    with monkeypatch.context() as broken:
        broken.setattr(bench.store, "inbox", fails)
        bench.send(300, START + 1_000)
        bench.turn(1.5)
        bench.turn(1.5)
    assert [line for line in bench.said if "does not answer" in line] == [
        "what people hand in cannot be read and waits: the disk does not answer"
    ]
    assert bench.stored() == [(START + 1_000, 300)]
    bench.turn(1.5)
    bench.turn(1.5)
    assert [act.who for act in bench.store.acts()] == ["Anna"]


def test_a_reload_keeps_an_alarm_that_stands(bench: Bench) -> None:
    """A rule whose kind and points are unchanged goes on from where it was."""
    bench.turn()
    bench.send(0, START + 1_000)
    for _ in range(3):
        bench.turn()
    changed = make_plan("45 s")
    bench.loop.reload(dataclasses.replace(changed, name="Other name"))
    bench.turn()
    assert bench.states() == ["unacknowledged"]
    bench.send(300, bench.hands.wall)
    for _ in range(3):
        bench.turn()
    assert bench.states() == ["unacknowledged", "returned"]


def test_after_a_stop_everything_taken_is_on_disk(bench: Bench) -> None:
    """The last group is judged, committed and acknowledged."""
    bench.send(300, START)
    bench.loop.stop()
    bench.loop.run()
    assert bench.stored() == [(START, 300)]
    assert bench.acknowledged == [0]
