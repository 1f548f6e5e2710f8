"""Is water that was pumped away, filled up or let in told for what it is, and as over only when it is over?

Days in May on which a pipe slips off or a tap runs; hours and amounts are invented. 2 % of tap water at 1 mg/L of
chlorine make 0.02 mg/L of all water: what fish bear for an hour (US EPA: 0.019 mg/L, from memory); ten times as much
kills most (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest

from daemon.site.load import load_site
from demo_replay.days import SITE
from demo_replay.kinds import KINDS
from demo_replay.replay import replay
from demo_replay.simulate import simulate
from demo_replay.works import Failure
from rules.acts import Act, ActKind
from rules.durations import HOUR
from rules.events import Event
from rules.plan import Plan

BURST_SEEDS = (1, 2, 1001)
Told = Callable[..., list[Event]]


@cache
def plan() -> Plan:
    return load_site(SITE).plan


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> Told:
    """Every message of a day on which such parts fail; `treated`: the hours at which a treated top-up is noted."""

    def messages(*failures: Failure, treated: tuple[float, ...] = (), seed: int = 1) -> list[Event]:
        monkeypatch.setitem(KINDS, "burst_pipe", replace(KINDS["burst_pipe"], failures=failures, marks=(), spread=0))
        day = simulate("burst_pipe", seed)
        notes = [
            Act(day.begin_ms + round(hour * HOUR), ActKind.NOTE, data={"kind": "treated_top_up"}) for hour in treated
        ]
        return [event for event in replay(plan(), day.recording(), acts=notes).events if event.type == "notice"]

    return messages


def _rules(notices: list[Event]) -> set[str]:
    return {event.body["rule"] for event in notices}


@pytest.mark.parametrize("minutes", [6, 15])
@pytest.mark.parametrize("seed", BURST_SEEDS)
def test_a_burst_is_not_over_because_the_pump_was_switched_off(seed: int, minutes: int, told: Told) -> None:
    """It stands until night, in its own words, though for twenty hours no pump draws a current and nothing flows."""
    notices = told(Failure("pipe", 1.0, 24.0), Failure("pump", 1.0 + minutes / 60, 24.0), seed=seed)
    assert "loop.burst" in _rules(notices)
    assert not [event for event in notices if event.body["purpose"] == "recovery"]
    assert "loop.stopped" not in _rules(notices)


@pytest.mark.parametrize("seed", BURST_SEEDS)
def test_a_pump_that_stops_after_a_burst_was_mended_is_no_burst(seed: int, told: Told) -> None:
    """The pipe is on again and the water filled up; the pump that trips four hours later is told as stopped."""
    notices = told(
        Failure("pipe", 2.0, 3.0),
        Failure("pump", 2.2, 3.1),
        Failure("top-up", 3.1, 3.5, leak=9.0),
        Failure("pump", 8.0, 9.0),
        treated=(3.0,),
        seed=seed,
    )
    firsts = [event.body["rule"] for event in notices if event.body["purpose"] == "first"]
    assert firsts.count("loop.burst") == 1
    assert "loop.stopped" in firsts


@pytest.mark.parametrize("seed", BURST_SEEDS)
def test_a_burst_that_was_mended_is_not_told_again_as_water_that_gushes_out(seed: int, told: Told) -> None:
    """Six minutes after it began the pipe is on again; the loss that is then past has been told."""
    assert "water.gushing" not in _rules(told(Failure("pipe", 9.0, 9.1), seed=seed))


def test_beds_that_wait_for_the_tank_to_fill_are_not_slow() -> None:
    """After the return pipe siphoned the tank back, the pump fills it first: an hour without water on the beds."""
    found = replay(plan(), simulate("breather_blocked", 1011).recording()).events
    slow = {f"bed{bed}.slow" for bed in (1, 2, 3)}
    assert not [event for event in found if event.type == "notice" and event.body["rule"] in slow]


@pytest.mark.parametrize("seed", BURST_SEEDS)
@pytest.mark.parametrize(("hours", "left_on"), [(25 / 60, False), (2.0, True)])
def test_a_tap_was_left_on_only_while_it_runs(hours: float, left_on: bool, seed: int, told: Told) -> None:
    """100 L of treated water: in 25 minutes and then shut is a top-up; over two hours the tap was forgotten."""
    notices = told(Failure("top-up", 10.0, 10.0 + hours, leak=100 / hours / 60), treated=(9.9,), seed=seed)
    assert _rules(notices) == ({"topup.left_on"} if left_on else set())


@pytest.mark.parametrize("seed", BURST_SEEDS)
def test_what_a_burst_took_may_run_in_for_hours(seed: int, told: Told) -> None:
    """300 L of treated water at 2 L/min, as much as was lost: no tap was left on."""
    notices = told(
        Failure("pipe", 2.0, 3.0),
        Failure("pump", 2.3, 3.1),
        Failure("top-up", 3.1, 5.6, leak=2.0),
        treated=(3.05,),
        seed=seed,
    )
    assert not {"topup.left_on", "topup.untreated", "topup.not_known"} & _rules(notices)


@pytest.mark.parametrize("seed", BURST_SEEDS)
@pytest.mark.parametrize("minutes", [5, 20, 60])
def test_a_small_top_up_that_nobody_noted_is_a_question(minutes: int, seed: int, told: Told) -> None:
    """20 L are 1 % of all water: medium, whether they run in fast or slowly."""
    notices = told(Failure("top-up", 10.0, 10.0 + minutes / 60, leak=20 / minutes), seed=seed)
    assert _rules(notices) == {"topup.not_known"}
    assert {event.body["priority"] for event in notices} == {"medium"}
    assert notices[0].body["title"] == "Water runs in: was it treated?"


@pytest.mark.parametrize("seed", BURST_SEEDS)
@pytest.mark.parametrize("minutes", [8, 30, 120])
def test_a_large_top_up_that_nobody_noted_is_critical(minutes: int, seed: int, told: Told) -> None:
    """60 L are 3 % of all water: with 1 mg/L of chlorine more than fish bear for an hour."""
    notices = told(Failure("top-up", 10.0, 10.0 + minutes / 60, leak=60 / minutes), seed=seed)
    critical = [event for event in notices if event.body["priority"] == "critical"]
    assert {event.body["rule"] for event in critical} == {"topup.untreated"}
    assert _rules(notices) <= {"topup.untreated", "topup.not_known"}


@pytest.mark.parametrize("amount", [20, 60])
def test_a_top_up_that_was_noted_as_treated_is_not_told(amount: int, told: Told) -> None:
    """Neither a small one nor a large one."""
    assert not told(Failure("top-up", 10.0, 10.25, leak=amount / 15), treated=(9.9,))
