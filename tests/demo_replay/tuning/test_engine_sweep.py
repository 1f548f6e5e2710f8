"""Do variants side by side raise what each would raise alone in the whole engine, whatever the kind of rule?"""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo_replay.tuning.band_sweep import BandGrid, sweep_band
from demo_replay.tuning.engine_sweep import explained_spans, points_of, sweep_engine
from demo_replay.tuning.heard import heard
from demo_replay.tuning.spells import OPEN
from demo_replay.tuning.units import series_of
from rules.acts import Act, ActKind
from rules.block import Block
from rules.conditions.band import BandSettings
from rules.conditions.sided import Sided
from rules.derived_settings import OverWindowSettings
from rules.plan import Plan
from rules.settings import RuleSettings
from rules.view import Surroundings
from tests.demo_replay.tuning.tried import POINTS, case, engine_says, held, listed, past, plan, uneven
from tests.replays import DAY, HOUR, MINUTE, START, rule

WARM = rule("band", "warm", point="tank.temperature", high=0.6, priority="log")
DELAYS: tuple[dict[str, str], ...] = (
    {},
    {"on_delay": "2 min"},
    {"on_delay": "1 min", "off_delay": "3 min"},
    {"off_delay": "5 min"},
)
KINDS: dict[str, tuple[str, dict[str, Any], str, tuple[Any, Any]]] = {
    "rate": ("fall", {"point": "tank.temperature", "window": "9 min", "min_readings": 2}, "fall", ("1 K/h", "9 K/h")),
    "flat": ("flat", {"point": "tank.temperature", "window": "5 min"}, "tolerance", (0, 0.3)),
    "silent": ("silent", {"point": "tank.temperature"}, "on_delay", ("0 s", "4 min")),
    "ahead": ("high", {"point": "tank.temperature", "horizon": "10 min", "min_readings": 2}, "high", (0.5, 1.5)),
    "cycle": ("full", {"point": "tank.temperature", "low": 0.2, "high": 0.8}, "full", ("2 min", "6 min")),
    "all_of": ("all_of", {"rules": ["warm"]}, "on_delay", ("0 s", "2 min")),
}  # fmt: skip
"""Kind -> side, fixed settings, the key that is varied, and two values of it."""


def tried(kind: str) -> list[RuleSettings]:
    """The rule under every value and pair of delays."""
    _, fixed, key, values = KINDS[kind]
    return [
        rule(kind, "tried", priority="high", **{**fixed, **delays, key: value})
        for value in values
        for delays in DELAYS
        if key not in delays
    ]


@pytest.mark.parametrize("kind", KINDS)
@given(readings=uneven(), data=st.data())
def test_every_kind_gives_what_the_engine_tells(kind: str, readings: Block, data: st.DataObject) -> None:
    """Delays apart from conditions, and conditions side by side, are judged as alone."""
    side, variants = KINDS[kind][0], tried(kind)
    was = held({readings.point: readings})
    one = case(plan(WARM), was)
    found = listed(sweep_engine(one.plan, variants, side, one.past))
    number = data.draw(st.integers(0, len(variants) - 1))
    mine = [tuple(times) for setting, *times in found if setting == number]
    assert mine == engine_says(plan(WARM, variants[number]), variants[number], side, was)


def test_weighed_evidence_of_several_points_is_swept() -> None:
    """Water that stops: with two of three needed it is told when the second comes."""
    evidence = [{"point": "loop.flow", "under": 1}, {"point": "bed.level", "still": 0.2, "window": "10 min"}]
    was = past({"loop.flow": [50] * 30 + [0] * 60, "bed.level": [*range(40), *[40] * 50]})
    variants = [rule("stopped", "loop.stopped", evidence=evidence, needed=n, priority="high") for n in (1, 2)]
    one = case(plan(), was)
    found = listed(sweep_engine(one.plan, variants, "stopped", one.past))
    for number, variant in enumerate(variants):
        mine = [tuple(times) for setting, *times in found if setting == number]
        assert mine == engine_says(plan(variant), variant, "stopped", was)
    assert [(raised - START) // MINUTE for _, _, raised, _ in found] == [30, 48]


def test_variants_that_differ_in_delays_alone_share_one_condition(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twenty-five pairs of delays of one limit cost one condition, not twenty-five."""
    built: list[int] = []
    build = BandSettings.build

    def counted(settings: BandSettings, around: Surroundings) -> Sided:
        built.append(1)
        return build(settings, around)

    monkeypatch.setattr(BandSettings, "build", counted)
    variants = [
        rule("band", "tried", point="tank.temperature", high=limit, on_delay=f"{on} min", off_delay=f"{off} min")
        for limit in (1, 2)
        for on in range(5)
        for off in range(5)
    ]
    one = case(plan(), past({"tank.temperature": [0, 15, 30] * 20}))
    built.clear()
    sweep_engine(one.plan, variants, "high", one.past)
    assert len(built) == 2


def test_delays_do_not_count_through_a_span_in_which_nothing_ran() -> None:
    """Ten minutes off: a delay of 15 min that began before ends 25 min after."""
    off = Act(START + 5 * MINUTE, ActKind.OFF, until=START + 15 * MINUTE)
    variant = rule("band", "tried", point="tank.temperature", high=2, on_delay="15 min", priority="high")
    was = past({"tank.temperature": [30] * 60}, acts=[off])
    one = case(plan(), was)
    ((_, since, raised, returned),) = listed(sweep_engine(one.plan, [variant], "high", one.past))
    assert (since - START, raised - START, returned) == (0, 25 * MINUTE, OPEN)
    assert engine_says(plan(variant), variant, "high", was) == [(since, raised, returned)]


def test_a_note_opens_a_rule_that_waits_for_one() -> None:
    """since_note = feeding, within an hour: only what comes after the note counts."""
    note = Act(START + 30 * MINUTE, ActKind.NOTE, data={"kind": "feeding"})
    settings = {"point": "tank.temperature", "high": 2, "since_note": "feeding", "within": "1 h"}
    variant = rule("band", "tried", priority="high", **settings)
    one = case(plan(), past({"tank.temperature": [30] * 60}, acts=[note]))
    ((_, since, *_),) = listed(sweep_engine(one.plan, [variant], "high", one.past))
    assert since == START + 30 * MINUTE


def test_a_rule_on_a_derived_point_is_swept() -> None:
    """The highest of the last ten minutes is worked out once and judged like a measured point."""
    highest = OverWindowSettings.model_validate(
        {"id": "tank.highest", "kind": "over_window", "point": "tank.temperature", "take": "max", "window": "10 min"}
    )
    was = past({"tank.temperature": [10] * 20 + [40] + [10] * 39})
    variant = rule("band", "tried", point="tank.highest", high=2, priority="high")
    of = Plan("Alder Lane", "Europe/Dublin", plan().points, (variant,), derived=(highest,))
    one = case(of, was)
    found = [tuple(times) for _, *times in listed(sweep_engine(one.plan, [variant], "high", one.past))]
    assert found == engine_says(of, variant, "high", was)
    assert len(found) == 1
    grid = BandGrid((Fraction(20),), (Fraction(0),), (0,), (0,))
    ((_, fast),) = sweep_band(series_of(one, "tank.highest", low=False), grid)
    assert [tuple(times) for _, *times in listed(fast)] == found


def test_points_of_a_rule_are_those_of_the_rules_that_it_rests_on_too() -> None:
    """all_of over a band, held back by another rule."""
    cold = rule("band", "cold", point="bed.level", low=0.1, priority="log")
    both = rule("all_of", "both", rules=["warm"], **{"while": "cold"})
    assert points_of(plan(WARM, cold), [both]) == {"tank.temperature", "bed.level"}


def test_alarms_are_explained_while_another_rule_is_active_and_for_its_time_after() -> None:
    """From the cause's own alarm, delay included, to its return and `after`; open where it still stands at the end."""
    cause = rule(
        "band", "cause", point="loop.flow", low=1, on_delay="2 min", after="10 min", explains=["tried"], priority="log"
    )  # fmt: skip
    tried_rule = rule("band", "tried", point="tank.temperature", high=2)
    flow = [50] * 10 + [0] * 10 + [50] * 40 + [0] * 10
    one = case(plan(cause, tried_rule), past({"loop.flow": flow, "tank.temperature": [0] * 70}))
    assert explained_spans(one.plan, tried_rule, one.past) == (
        (START + 12 * MINUTE, START + 30 * MINUTE),
        (START + 62 * MINUTE, OPEN),
    )
    never = rule("band", "tried", point="tank.temperature", high=2, never_suppressed=True)
    assert explained_spans(one.plan, never, one.past) == ()


def test_a_cause_of_two_sides_explains_until_neither_is_active() -> None:
    """From high through low without a break: one span, to the return of the low side."""
    settings = {"point": "loop.flow", "high": 4, "low": 1, "off_delay": "5 min", "explains": ["tried"]}
    cause, tried_rule = rule("band", "cause", **settings), rule("band", "tried", point="tank.temperature", high=2)
    flow = [20] * 10 + [50] * 10 + [0] * 20 + [20] * 20
    one = case(plan(cause, tried_rule), past({"loop.flow": flow, "tank.temperature": [0] * 60}))
    assert explained_spans(one.plan, tried_rule, one.past) == ((START + 10 * MINUTE, START + 45 * MINUTE),)


def test_a_cause_that_explains_past_the_end_explains_what_stands_there() -> None:
    """It returned 5 min before the end and explains for 10 more: an alarm that never returned is accounted for."""
    cause = rule("band", "cause", point="loop.flow", low=1, after="10 min", explains=["tried"])
    tried_rule = rule("band", "tried", point="tank.temperature", high=2)
    flow = [50] * 10 + [0] * 10 + [50] * 6
    one = case(plan(cause, tried_rule), past({"loop.flow": flow, "tank.temperature": [0] * 26}))
    assert explained_spans(one.plan, tried_rule, one.past) == ((START + 10 * MINUTE, OPEN),)


def test_silence_that_begins_with_the_end_of_a_recording_is_heard() -> None:
    """The hold ends at the last instant: told at once without a delay, not yet with one."""
    was = past({"tank.temperature": [20] * 6, "loop.flow": [5] * 11})
    variants = [
        rule("silent", "quiet", point="tank.temperature", priority="high", on_delay=d) for d in ("1 min", "0 s")
    ]
    one = case(plan(), was)
    assert listed(sweep_engine(one.plan, variants, "silent", one.past)) == [(1, was.span[1], was.span[1], OPEN)]
    assert engine_says(plan(variants[1]), variants[1], "silent", was) == [(was.span[1], was.span[1], OPEN)]


def test_a_derived_point_alone_is_heard_through_its_inputs() -> None:
    """What it is worked out from is read though nobody asked for it, and is not kept."""
    highest = OverWindowSettings.model_validate(
        {"id": "tank.highest", "kind": "over_window", "point": "tank.temperature", "take": "max", "window": "10 min"}
    )
    of = Plan("Alder Lane", "Europe/Dublin", plan().points, derived=(highest,))
    plain, usable = heard(of, {"tank.highest"}, past({"tank.temperature": [10] * 30, "loop.flow": [1] * 30}))
    assert usable.source.points() == ["tank.highest"]
    assert plain.derived == ()
    assert plain.point("tank.highest").unit == "degC"


def test_a_year_is_judged_in_steps_that_leave_no_trace() -> None:
    """Alarms that stand over the borders of steps are one."""
    chance = np.random.default_rng(4)
    hours = np.arange(24 * 100)
    values = np.where((hours // 300) % 2 == 1, 40, 10) + chance.integers(0, 3, len(hours))
    slow = (dataclasses.replace(POINTS[0], stale_after=2 * HOUR),)
    was = past({"tank.temperature": values.tolist()}, every=HOUR)
    variant = rule("band", "tried", point="tank.temperature", high=2, on_delay="1 h", priority="high")
    one = case(plan(points=slow), was)
    found = listed(sweep_engine(one.plan, [variant], "high", one.past))
    assert was.span[1] - was.span[0] > 3 * 31 * DAY
    assert len(found) == 4
    assert [tuple(times) for _, *times in found] == engine_says(plan(variant, points=slow), variant, "high", was)


def test_a_rule_is_accounted_for_while_its_suppressing_condition_is_true() -> None:
    """Without delays, and not while it is unknown; the sweep of such a rule needs no such rule beside it."""
    pumping = rule("band", "pumping", point="loop.flow", high=1, on_delay="5 min", priority="log")
    tried_rule = rule("band", "tried", point="tank.temperature", high=2, suppressed_while="pumping")
    flow = [0] * 10 + [50] * 10 + [0] * 10 + [50] * 10 + [None] * 30
    one = case(plan(pumping, tried_rule), past({"loop.flow": flow, "tank.temperature": [0] * 12 + [30] * 58}))
    assert explained_spans(one.plan, tried_rule, one.past) == (
        (START + 10 * MINUTE, START + 20 * MINUTE),
        (START + 30 * MINUTE, START + 39 * MINUTE + one.plan.point("loop.flow").stale_after),
    )
    assert listed(sweep_engine(one.plan, [tried_rule], "high", one.past)) == [
        (0, START + 12 * MINUTE, START + 12 * MINUTE, OPEN)
    ]
