"""Is everything that one step yields stored at once, and found again?"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import pytest

from daemon.store import Sending, State, Store, StoreReader, hand_in, history
from daemon.store.connection import Connection
from daemon.store.errors import StoreMissing
from rules.acts import Act, ActKind
from rules.block import block
from rules.durations import DAY
from rules.events import Event
from rules.flags import Flag
from rules.plan import PointPlan

from .conftest import LEVEL, WATER

EVENING = 1_775_174_400_000 + 20 * 3_600_000
"""20:00 UTC on 2026-04-03."""

ALARM = Event(
    EVENING, "alarm", {"rule": "tank.warm", "side": "high", "state": "unacknowledged", "value": 27.1, "why": "°C"}
)
OWED = Sending("tank.warm/high/1", "anna", "phone", "Tank warm", "27.1 degC", "high", "first", EVENING)


def test_one_commit_keeps_everything_of_a_step(store: Store, open_store: Callable[..., Store]) -> None:
    """Readings, events, checkpoint, acts, what is owed and meta are there after reopening."""
    act = Act(EVENING, ActKind.NOTE, "anna", text="fed", data={"kind": "feed"})
    store.commit(
        [block(WATER.id, [EVENING], [27_100], [1])],
        events=[ALARM],
        checkpoint={"frontier": EVENING, "alarms": ["°"]},
        acts=[act],
        owed=[OWED],
        meta={"plan": "abc"},
    )
    again = open_store()
    assert [part.values.tolist() for part in again.read(WATER.id, 0, EVENING)] == [[27_100]]
    assert again.events() == [ALARM]
    assert again.checkpoint() == {"frontier": EVENING, "alarms": ["°"]}
    assert again.acts() == [act]
    assert [(s.message_id, s.state) for s in again.unsent()] == [(OWED.message_id, State.OWED)]
    assert again.meta("plan") == "abc"


def test_a_commit_that_fails_keeps_nothing_of_a_step(store: Store) -> None:
    """An event that is no JSON undoes the readings, too."""
    with pytest.raises(ValueError, match="Out of range float"):
        store.commit([block(WATER.id, [EVENING], [1])], events=[Event(EVENING, "fault", {"why": float("nan")})])
    assert store.span() is None
    store.commit([block(WATER.id, [EVENING], [2])])
    assert store.latest(WATER.id) == (EVENING, 2, Flag.NOT_EVALUATED)


def test_a_commit_without_checkpoint_keeps_the_former(store: Store) -> None:
    """The last checkpoint stands until a later one."""
    store.commit(checkpoint={"frontier": 1})
    store.commit([block(WATER.id, [EVENING], [1])])
    assert store.checkpoint() == {"frontier": 1}
    store.commit(checkpoint={"frontier": 2})
    assert store.checkpoint() == {"frontier": 2}


def test_an_empty_store_says_so(store: Store) -> None:
    """No points, no span, no checkpoint, no readings."""
    assert store.points() == []
    assert store.span() is None
    assert store.checkpoint() is None
    assert store.meta("plan") is None
    assert store.latest(WATER.id) is None
    assert list(store.read(WATER.id, 0, EVENING)) == []
    assert list(store.read("stranger", 0, EVENING)) == []
    assert store.latest("stranger") is None


@pytest.mark.parametrize(
    ("again", "repeats", "contradicted"),
    [(27_100, 1, 0), (27_101, 0, 1), (None, 0, 1)],
    ids=["same value", "another value", "missing now"],
)
@pytest.mark.parametrize("is_sealed", [False, True], ids=["rows", "sealed"])
def test_a_repeat_keeps_the_first(
    store: Store, is_sealed: bool, again: int | None, repeats: int, contradicted: int
) -> None:
    """The same (point, time) is a no-op, and counted apart where it has another value; sealed or not."""
    store.commit([block(WATER.id, [EVENING], [27_100])])
    if is_sealed:
        assert store.seal_step(EVENING + 2 * DAY) is not None
    done = store.commit([block(WATER.id, [EVENING, EVENING + 1], [again, 5])])
    assert (done.readings, done.repeats, done.contradicted) == (1, repeats, contradicted)
    (part,) = store.read(WATER.id, 0, 2**62)
    assert part.values.tolist() == [27_100, 5]


def test_a_repeat_within_one_commit_keeps_the_first(store: Store) -> None:
    """Whether in one block or in two."""
    done = store.commit([block(WATER.id, [5, 5, 6], [1, 2, 3]), block(WATER.id, [6, 6], [3, 4])])
    assert (done.readings, done.repeats, done.contradicted) == (2, 1, 2)
    (part,) = store.read(WATER.id, 0, 10)
    assert part.values.tolist() == [1, 3]


def test_a_missing_reading_and_a_zero_differ(store: Store) -> None:
    """A zero after a missing one at the same time contradicts, though both store 0 counts."""
    store.commit([block(WATER.id, [5], [None])])
    assert store.commit([block(WATER.id, [5], [0])]).contradicted == 1


def test_more_repeats_than_one_query_asks_for(store: Store) -> None:
    """A long backlog that was delivered twice is counted to the last."""
    times = range(1300)
    store.commit([block(WATER.id, times, [7] * 1300)])
    done = store.commit([block(WATER.id, times, [7] * 1299 + [8])])
    assert (done.readings, done.repeats, done.contradicted) == (0, 1299, 1)


@pytest.mark.parametrize("is_sealed", [False, True], ids=["rows", "sealed"])
def test_readings_that_came_behind_are_marked(store: Store, is_sealed: bool) -> None:
    """The mark holds from when rules could know them, and survives sealing."""
    store.commit(
        [block(WATER.id, [EVENING, EVENING + 5], [1, 2]), block(LEVEL.id, [EVENING], [3])],
        behind=[(WATER.id, EVENING)],
        effective=EVENING + 999,
    )
    if is_sealed:
        while store.seal_step(EVENING + 2 * DAY):
            pass
    assert store.behind(WATER.id, 0, 2**62) == [(EVENING, EVENING + 999)]
    assert store.behind(LEVEL.id, 0, 2**62) == []


def test_reading_is_open_below_and_closed_above(store: Store) -> None:
    """after < time <= upto, at every edge."""
    store.commit([block(WATER.id, [10, 20, 30], [1, 2, 3])])

    def got(after: int, upto: int) -> list[int]:
        return [int(v) for part in store.read(WATER.id, after, upto) for v in part.values]

    assert got(9, 30) == [1, 2, 3]
    assert got(10, 30) == [2, 3]
    assert got(10, 29) == [2]
    assert got(30, 40) == []
    assert got(20, 20) == []


@pytest.mark.parametrize("is_sealed", [False, True], ids=["rows", "sealed"])
def test_days_come_in_order_and_end_at_midnight(store: Store, is_sealed: bool) -> None:
    """The last millisecond of a UTC day and the first of the next are in blocks of their own."""
    midnight = 20_547 * DAY
    store.commit([block(WATER.id, [midnight + 3 * DAY, midnight, midnight - 1], [3, 2, 1])])
    if is_sealed:
        while store.seal_step(midnight + 9 * DAY):
            pass
    parts = [part.times.tolist() for part in store.read(WATER.id, 0, 2**62)]
    assert parts == [[midnight - 1], [midnight], [midnight + 3 * DAY]]
    assert store.span() == (midnight - 1, midnight + 3 * DAY)
    assert store.latest(WATER.id) == (midnight + 3 * DAY, 3, Flag.NOT_EVALUATED)
    assert [part.times.tolist() for part in store.read(WATER.id, midnight - 1, midnight)] == [[midnight]]


def test_a_commit_of_thirty_points_writes_few_bytes(open_store: Callable[..., Store]) -> None:
    """Under 25 KB of write-ahead log, for a memory card wears by what is written: 2 GB a day at a commit a second."""
    points = [PointPlan(f"bed{n}.level", "level", "mm", Fraction(1, 10)) for n in range(30)]
    store = open_store(*points)
    store.commit([block(p.id, range(EVENING, EVENING + 500), [7] * 500) for p in points])
    log = store.path.with_name(store.path.name + "-wal")
    before = log.stat().st_size
    for second in range(20):
        store.commit([block(p.id, [EVENING + 1000 * second + 500], [second]) for p in points], checkpoint={"n": second})
    assert 0 < (log.stat().st_size - before) / 20 < 25_000


def test_the_log_is_asked_by_time_rule_type_and_number(store: Store) -> None:
    """The newest that fit come, oldest first."""
    store.commit(
        events=[
            Event(1, "alarm", {"rule": "a"}),
            Event(2, "decision", {"stage": "fans"}),
            Event(2, "alarm", {"rule": "b"}),
            Event(3, "alarm", {"rule": "a"}),
        ]
    )
    store.commit(events=[Event(3, "off", {"until": 9})])

    def times(events: list[Event]) -> list[tuple[int, str]]:
        return [(e.t, e.type) for e in events]

    assert times(store.events(after=1, upto=2)) == [(2, "decision"), (2, "alarm")]
    assert times(store.events(rule="a")) == [(1, "alarm"), (3, "alarm")]
    assert times(store.events(rule="fans")) == [(2, "decision")]
    assert times(store.events(type="alarm", limit=2)) == [(2, "alarm"), (3, "alarm")]
    assert times(store.events(limit=1)) == [(3, "off")]


def test_an_off_span_that_reaches_into_the_asked_time_is_found(store: Store) -> None:
    """Other acts are found by their own time alone."""
    off = Act(100, ActKind.OFF, "tidebed", until=200)
    shelf = Act(100, ActKind.SHELVE, rule="a", until=500)
    note = Act(160, ActKind.NOTE, text="fed")
    store.commit(acts=[off, shelf, note])
    assert store.acts(150, 300) == [off, note]
    assert store.acts(200, 300) == []
    assert store.acts(99, 159) == [off, shelf]


def test_an_act_that_was_handed_in_is_taken_exactly_once(store: Store, open_store: Callable[..., Store]) -> None:
    """It waits through a restart, and leaves the inbox in the commit that logs it."""
    ack = Act(EVENING, ActKind.ACKNOWLEDGE, "anna", rule="tank.warm", data={"since": "5"})
    number = hand_in(store.path, ack)
    later = hand_in(store.path, Act(EVENING + 1, ActKind.NOTE))
    again = open_store()
    assert again.inbox() == [(number, ack), (later, Act(EVENING + 1, ActKind.NOTE))]
    with pytest.raises(KeyError):
        again.commit([block("stranger", [1], [1])], acts=[ack], taken=[number])
    assert len(again.inbox()) == 2
    assert again.acts() == []
    again.commit(acts=[ack], taken=[number])
    assert again.acts() == [ack]
    assert [n for n, _ in again.inbox()] == [later]


def test_an_acknowledgement_is_of_what_was_in_the_log_when_it_was_handed_in(store: Store) -> None:
    """What is raised before the daemon takes it has not been seen by anybody."""
    ack = Act(EVENING, ActKind.ACKNOWLEDGE, "anna")
    hand_in(store.path, ack)
    store.commit(events=[Event(EVENING, "alarm", {"rule": "a"}), Event(EVENING + 3, "alarm", {"rule": "b"})])
    hand_in(store.path, ack)
    assert [act.data for _, act in store.inbox()] == [{"known_upto": "0"}, {"known_upto": str(EVENING + 3)}]


def test_nothing_can_be_handed_in_where_there_is_no_store(store: Store) -> None:
    """The mistake is named and no file appears."""
    nowhere = store.path.with_name("nowhere.sqlite")
    with pytest.raises(StoreMissing, match=r"there is no store at .*nowhere"):
        hand_in(nowhere, Act(1, ActKind.NOTE))
    assert not nowhere.exists()


def test_what_is_owed_twice_is_owed_once(store: Store) -> None:
    """A notice's key makes its sending unique, for each person and way."""
    other_way = Sending(
        **{
            name: getattr(OWED, name)
            for name in ("message_id", "person", "title", "body", "priority", "purpose", "created")
        },
        way="mail",
    )
    assert store.commit(owed=[OWED]).owed == 1
    assert store.commit(owed=[OWED, other_way]).owed == 1
    assert [s.way for s in store.unsent()] == ["phone", "mail"]


def test_a_reader_sees_what_is_committed_while_the_daemon_runs(store: Store) -> None:
    """Not what is in the making, and from the last commit on everything."""
    with StoreReader(store.path) as reader:
        assert reader.points() == []
        store.commit([block(WATER.id, [EVENING], [27_100])], events=[ALARM])
        assert reader.points() == [WATER.id]
        assert reader.events() == [ALARM]
        assert reader.latest(WATER.id) == (EVENING, 27_100, Flag.NOT_EVALUATED)


def test_a_day_that_is_sealed_while_it_is_read_is_seen_once(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between the look at the blocks and the look at the rows."""
    store.commit([block(WATER.id, [EVENING, EVENING + 1], [1, 2])])
    look = history.packed

    def then_seal(connection: Connection, point: int, first: int, last: int) -> dict[int, list[tuple[int, bytes]]]:
        found = look(connection, point, first, last)
        monkeypatch.undo()
        assert store.seal_step(EVENING + 2 * DAY) is not None
        return found

    monkeypatch.setattr(history, "packed", then_seal)
    with StoreReader(store.path) as reader:
        assert [part.values.tolist() for part in reader.read(WATER.id, 0, 2**62)] == [[1, 2]]


def test_a_reader_that_is_halfway_sees_each_reading_once_while_days_are_sealed(store: Store) -> None:
    """A day that becomes a block between two steps of a reader is neither lost nor doubled."""
    start = 20_547 * DAY
    times = [start + day * DAY + minute * 60_000 for day in range(3) for minute in range(5)]
    store.commit([block(WATER.id, times, range(15))])
    with StoreReader(store.path, [WATER]) as reader:
        parts = reader.read(WATER.id, 0, 2**62)
        seen = next(parts).values.tolist()
        while store.seal_step(start + 9 * DAY):
            pass
        for part in parts:
            seen += part.values.tolist()
    assert seen == list(range(15))
