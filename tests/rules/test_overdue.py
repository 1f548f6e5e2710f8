"""Is a task told that was not noted in time, once, and is it over with the note?"""

from __future__ import annotations

import itertools
import json
from fractions import Fraction
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from rules.acts import Act, ActKind
from rules.block import block
from rules.conditions import KINDS
from rules.durations import DAY, HOUR
from rules.engine import Engine
from rules.plan import Plan, PointPlan

HEAD = PointPlan("filter.head", "pressure", "kPa", Fraction(1, 100), HOUR, 3 * HOUR)


def plan(**more: Any) -> Plan:
    table = {"id": "filter.due", "kind": "overdue", "note": "solids_drained", "every": "4 d", "priority": "low", **more}
    return Plan("Test", "UTC", (HEAD,), (KINDS["overdue"].model_validate(table),), settle=0)


def noted(*times: int, kind: str = "solids_drained") -> list[Act]:
    return [Act(time, ActKind.NOTE, data={"kind": kind}) for time in times]


def moves(one_plan: Plan, acts: list[Act], cuts: list[int], restart: bool = False) -> list[tuple[int, str]]:
    """(time, state) of the alarm, in steps that end at `cuts`."""
    engine = Engine(one_plan, 0)
    found = []
    for begin, end in itertools.pairwise([-1, *cuts]):
        now = [act for act in acts if begin < act.time <= end]
        events = engine.step([block("filter.head", [end], [50])], now, end)
        found += [(event.t, event.body["state"]) for event in events if event.type == "alarm"]
        if restart:
            engine = Engine.restore(one_plan, json.loads(json.dumps(engine.state())))
    return found


def test_a_task_falls_due_and_is_over_with_its_note() -> None:
    """Four days after the engine's first instant, over with the note, due again four days after that."""
    acts = noted(5 * DAY)
    assert moves(plan(), acts, [20 * DAY]) == [
        (4 * DAY, "unacknowledged"),
        (5 * DAY, "returned"),
        (9 * DAY, "unacknowledged"),
    ]


def test_a_calibration_counts_for_its_own_point_and_for_all() -> None:
    """`calibration tank.ph` is over with that of tank.ph alone, `calibration` with any."""
    acts = [Act(5 * DAY, ActKind.CALIBRATE, data={"point": "tank.ph"})]
    for note in ("calibration tank.ph", "calibration"):
        assert moves(plan(note=note), acts, [6 * DAY]) == [(4 * DAY, "unacknowledged"), (5 * DAY, "returned")]
    assert moves(plan(note="calibration tank.oxygen"), acts, [6 * DAY]) == [(4 * DAY, "unacknowledged")]


def test_a_note_at_the_very_instant_is_in_time() -> None:
    """Acts come before what falls due; a millisecond later it was due."""
    assert moves(plan(), noted(4 * DAY), [5 * DAY]) == []
    assert moves(plan(), noted(4 * DAY + 1), [5 * DAY])[0] == (4 * DAY, "unacknowledged")


def test_a_note_of_another_kind_changes_nothing() -> None:
    """Feeding the fish does not drain the filter."""
    assert moves(plan(), noted(3 * DAY, kind="feeding"), [5 * DAY]) == [(4 * DAY, "unacknowledged")]


def test_the_engine_wakes_for_it() -> None:
    """Without a reading or an act in between."""
    engine = Engine(plan(), 0)
    engine.step([], noted(HOUR), 4 * HOUR)
    assert engine.next_instant() == HOUR + 4 * DAY


@settings(max_examples=80, deadline=None)
@given(
    times=st.sets(st.integers(0, 20 * 24), max_size=8),
    cuts=st.sets(st.integers(0, 20 * 24), max_size=8),
    restart=st.booleans(),
)
def test_cuts_and_restarts_do_not_matter(times: set[int], cuts: set[int], restart: bool) -> None:
    """The same alarms at the same times, in any steps."""
    acts, ends = noted(*(HOUR * hour for hour in sorted(times))), [HOUR * hour for hour in sorted(cuts)]
    assert moves(plan(), acts, [*ends, 21 * DAY], restart) == moves(plan(), acts, [21 * DAY])
