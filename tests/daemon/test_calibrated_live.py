"""Are readings judged as calibrated from the right instant on, kept as they came, and judged alike by a replay?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from daemon.entries import dated
from daemon.store import StoreReader, hand_in
from demo_replay.replay import replay
from rules.acts import Act, ActKind
from rules.calibration import Record
from rules.calibrations import data_of
from rules.conditions import KINDS
from rules.events import Event
from rules.flags import Flag
from rules.plan import Plan, PointPlan
from tests.daemon.test_loop import Bench, Hands

PH = PointPlan("tank.ph", "ph", "pH", Fraction(1, 100), 60_000, 600_000, raw_unit="mV", raw_resolution=Fraction(1, 10))
KIT = PointPlan("tank.total_ammonia", "concentration", "mg/L", Fraction(1, 100), 86_400_000, 700_000_000)
RULES = (
    {"id": "ph.low", "kind": "band", "point": PH.id, "low": "6.2"},
    {"id": "ammonia.high", "kind": "band", "point": KIT.id, "high": "1"},
)
PLAN = Plan("Test", "UTC", (PH, KIT), tuple(KINDS[str(rule["kind"])].model_validate(rule) for rule in RULES))
BUFFERS = (Fraction(7), Fraction(-3, 178))
"""0 mV at pH 7, 178 mV at pH 4."""


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A loop at its first start."""
    made = Bench(tmp_path / "store.sqlite", Hands(), PLAN)
    yield made
    made.store.close()


def calibrate(bench: Bench, coefficients: tuple[Fraction, ...], effective: int = 0) -> None:
    record = Record(effective, 0, coefficients, "mV", "pH", "two-point")
    hand_in(bench.path, Act(0, ActKind.CALIBRATE, "Anna", data=data_of(PH.id, record)))


def minutes(bench: Bench, tenths_of_mv: list[int]) -> None:
    """A reading a minute."""
    for counts in tenths_of_mv:
        bench.send(counts, bench.hands.wall + 60_000, PH.id)
        bench.turn(60)
        bench.turn(1.5)


def read(bench: Bench, as_of: int | None = None) -> list[tuple[int, int]]:
    """(counts, flag) of what the store holds of the pH probe."""
    with StoreReader(bench.path, PLAN.points, as_of=as_of) as store:
        blocks = list(store.read(PH.id, 0, 2**62))
    return [(int(v), int(f)) for b in blocks for v, f in zip(b.values, b.flags, strict=True)]


def alarms(events: list[Event]) -> list[tuple[int, str, str]]:
    return [(e.t, e.body["rule"], e.body["state"]) for e in events if e.type == "alarm"]


def replayed(bench: Bench, as_of: int | None = None) -> list[tuple[int, str, str]]:
    with StoreReader(bench.path, PLAN.points, as_of=as_of) as store:
        saved = store.checkpoint()
        assert saved is not None
        span = (int(saved["start"]), int(saved["frontier"]))
        return alarms(replay(PLAN, store, acts=store.acts(), span=span).events)


@pytest.mark.parametrize(("newest", "effective"), [(999, 1000), (1000, 1001), (5000, 5001)])
def test_one_for_which_no_instant_was_named_holds_from_the_next_reading_on(newest: int, effective: int) -> None:
    """From now, but behind the newest reading, which was judged already; one that is dated stays as it is."""
    act = Act(0, ActKind.CALIBRATE, "Anna", data=data_of(PH.id, Record(0, 0, BUFFERS, "mV", "pH", "two-point")))
    assert dated(act, 1, 1000, lambda point: newest).data["effective"] == str(effective)
    named = replace(act, data={**act.data, "effective": "7"})
    assert dated(named, 1, 1000, lambda point: newest).data["effective"] == "7"


def test_a_probe_in_millivolts_means_nothing_before_its_first_calibration(bench: Bench) -> None:
    """Its readings are kept, and rules take them as missing; from the calibration on they are pH."""
    bench.turn()
    minutes(bench, [890, 890])
    calibrate(bench, BUFFERS)
    bench.turn(1.5)
    minutes(bench, [0, 890])
    assert read(bench) == [(0, Flag.MISSING), (0, Flag.MISSING), (700, 2), (550, 2)]
    assert [(rule, state) for _, rule, state in alarms(bench.events)] == [("ph.low", "unacknowledged")]
    assert replayed(bench) == alarms(bench.events)


def test_what_came_is_kept_as_it_came(bench: Bench) -> None:
    """In mV and tenths, whatever calibrations say."""
    bench.turn()
    calibrate(bench, BUFFERS)
    bench.turn(1.5)
    minutes(bench, [123, 890])
    with StoreReader(bench.path, [PH.raw], as_of=0) as store:
        assert [int(v) for b in store.read(PH.id, 0, 2**62) for v in b.values] == [123, 890]


def test_a_calibration_survives_a_restart(bench: Bench) -> None:
    """It is in the log, in the transaction of what followed from it."""
    bench.turn()
    calibrate(bench, BUFFERS)
    bench.turn(1.5)
    bench.turn(1.5)
    bench.crash()
    bench.open()
    bench.turn()
    minutes(bench, [890])
    assert read(bench) == [(550, 2)]
    assert [rule for _, rule, _ in alarms(bench.events)] == ["ph.low"]
    assert replayed(bench) == alarms(bench.events)


def test_one_that_holds_from_earlier_changes_what_a_replay_says_not_what_was_said(bench: Bench) -> None:
    """Stored readings are re-read through it; a replay as of then sees what was known then."""
    bench.turn()
    calibrate(bench, BUFFERS)
    bench.turn(1.5)
    since = bench.hands.wall + 1
    minutes(bench, [0, 890, 0])
    told = alarms(bench.events)
    before = bench.hands.wall
    calibrate(bench, (Fraction(8), Fraction(-3, 178)), effective=since)
    bench.turn(1.5)
    bench.turn(1.5)
    assert alarms(bench.events) == told
    assert read(bench) == [(800, 2), (650, 2), (800, 2)]
    assert replayed(bench) == []
    assert read(bench, as_of=before) == [(700, 2), (550, 2), (700, 2)]
    assert replayed(bench, as_of=before) == told


def test_a_reading_by_hand_is_judged_like_any_other(bench: Bench) -> None:
    """Written down in another unit, at an hour of its own or now; and it stands in the log with who read it."""
    bench.turn()
    data = {"kind": "reading", "point": KIT.id, "value": "0.0012", "unit": "g/L"}
    hand_in(bench.path, Act(0, ActKind.NOTE, "Anna", text="kit", data=data))
    bench.turn(1.5)
    bench.turn(1.5)
    with StoreReader(bench.path, PLAN.points) as store:
        assert store.latest(KIT.id) == (bench.hands.wall - 1500, 120, 2)
        (act,) = store.acts()
    assert (act.who, act.text, act.data["value"]) == ("Anna", "kit", "0.0012")
    assert [rule for _, rule, _ in alarms(bench.events)] == ["ammonia.high"]
    assert replayed(bench) == alarms(bench.events)


def test_a_reading_by_hand_of_an_earlier_hour_is_stored_where_it_belongs(bench: Bench) -> None:
    """It comes behind the frontier: kept, and the newest of its point all the same."""
    bench.turn()
    bench.turn(3600)
    at = bench.hands.wall - 1_800_000
    data = {"kind": "reading", "point": KIT.id, "value": "2", "unit": "mg/L", "at": str(at)}
    hand_in(bench.path, Act(0, ActKind.NOTE, "Anna", data=data))
    bench.turn(1.5)
    bench.turn(1.5)
    with StoreReader(bench.path, PLAN.points) as store:
        assert store.latest(KIT.id) == (at, 200, 2)
        assert [time for time, _ in store.behind(KIT.id, 0, 2**62)] == [at]
    assert [rule for _, rule, _ in alarms(bench.events)] == ["ammonia.high"]


def test_a_reading_by_hand_that_fits_no_point_is_counted_and_told(bench: Bench) -> None:
    """As after a reload that took its point away: it stands in the log as refused."""
    bench.turn()
    data = {"kind": "reading", "point": "tank.gone", "value": "2", "unit": "mg/L"}
    hand_in(bench.path, Act(0, ActKind.NOTE, "Anna", data=data))
    bench.turn(1.5)
    bench.turn(1.5)
    assert bench.loop.tally.refused["a reading by hand that fits no point"] == 1
    (event,) = [event for event in bench.events if event.type == "act"]
    assert "tank.gone" in event.body["refused"]
