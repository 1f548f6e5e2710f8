"""How often does a phone ring on a demo day, counting what is told for the first time?

Repeats, recoveries and signs of life are counted apart. Critical oxygen, which is never suppressed, sends its cause
again with the time that is left: to a person who has heard of the cause that is a repeat.
"""

from __future__ import annotations

import functools
from collections import Counter
from itertools import pairwise

import pytest

from adapters.recordings import read_recordings
from daemon.site.load import load_site
from demo_replay.days import FOLDER, path
from demo_replay.kinds import RECORDED
from demo_replay.replay import replay
from rules.acts import Act, ActKind
from rules.durations import MINUTE
from rules.events import Event
from rules.messages import BODY_SIZE, TITLE_SIZE

FIRST_SENDINGS = ("first", "next", "summary", "chattering")
EVENTS = tuple(kind for kind in RECORDED if kind != "ordinary")


@functools.cache
def notices(kind: str) -> tuple[Event, ...]:
    """Every message of a recorded day, nobody acknowledging."""
    plan = load_site(FOLDER / "site.toml").plan
    recording = read_recordings([path(kind)], {point.id: point for point in plan.points}, plan.timezone)
    return tuple(event for event in replay(plan, recording).events if event.type == "notice")


def first_sendings(kind: str) -> list[Event]:
    """What is told for the first time."""
    return [event for event in notices(kind) if event.body["purpose"] in FIRST_SENDINGS]


def test_an_ordinary_day_is_a_day_without_a_message() -> None:
    """None of any kind."""
    assert notices("ordinary") == ()


@pytest.mark.parametrize("kind", EVENTS)
def test_a_day_with_an_event_makes_at_most_three_first_messages(kind: str) -> None:
    """And at least one."""
    assert 1 <= len(first_sendings(kind)) <= 3, [event.body["title"] for event in first_sendings(kind)]


def test_the_pump_trip_tells_the_keeper_once_and_then_the_next_person() -> None:
    """Of the pump, ten minutes apart; nothing of siphons, which stand still because of it."""
    told = [(event.body["person"], event.body["purpose"], event.body["rule"]) for event in first_sendings("pump_trip")]
    assert told == [("keeper", "first", "loop.stopped"), ("neighbour", "next", "loop.stopped")]
    first, second = first_sendings("pump_trip")
    assert second.t - first.t == 600_000
    assert {event.body["rule"] for event in notices("pump_trip")} == {"loop.stopped", "tank.oxygen_critical"}


def test_oxygen_that_runs_out_repeats_its_cause_with_the_time_that_is_left() -> None:
    """The keeper reads what stopped, how long the fish have, and what to do."""
    oxygen = next(event for event in notices("pump_trip") if event.body["rule"] == "tank.oxygen_critical")
    assert oxygen.body["purpose"] == "repeat"
    assert "Cause: Water has stopped." in oxygen.body["text"]
    assert "to 2.0 mg/L, where fish die" in oxygen.body["text"]


def test_repeats_come_every_five_minutes_to_each_person() -> None:
    """From one message about the pump or the oxygen to the next."""
    for person in ("keeper", "neighbour"):
        own = [e for e in notices("pump_trip") if e.body["person"] == person and e.body["purpose"] != "recovery"]
        apart = Counter(later.t - earlier.t for earlier, later in pairwise(own))
        assert max(apart) == 300_000
        assert apart[300_000] > 0.9 * sum(apart.values())


def test_everyone_who_was_told_of_the_pump_hears_that_water_runs_again() -> None:
    """Once each, of pump and oxygen."""
    over = Counter((e.body["person"], e.body["rule"]) for e in notices("pump_trip") if e.body["purpose"] == "recovery")
    assert over == {(p, r): 1 for p in ("keeper", "neighbour") for r in ("loop.stopped", "tank.oxygen_critical")}


def test_a_monthly_trip_test_is_marked_as_a_drill_and_counts_apart() -> None:
    """Under a drill of the trip everyone is sent what they would be sent, marked, and none of it as a first message."""
    plan = load_site(FOLDER / "site.toml").plan
    recording = read_recordings([path("pump_trip")], {point.id: point for point in plan.points}, plan.timezone)
    trip = first_sendings("pump_trip")[0].t
    drill = Act(trip - 5 * MINUTE, ActKind.DRILL, until=trip + 30 * MINUTE, data={"rules": "loop.stopped"})
    found = [e for e in replay(plan, recording, acts=[drill], to=trip + 25 * MINUTE).events if e.type == "notice"]
    assert {event.body["purpose"] for event in found} == {"drill"}
    assert {event.body["person"] for event in found} == {"keeper", "neighbour"}
    assert all(event.body["title"].startswith("Drill: ") for event in found)
    assert not [event for event in found if event.body["purpose"] in FIRST_SENDINGS]


@pytest.mark.parametrize("kind", EVENTS)
def test_every_message_fits_a_lock_screen_and_says_what_to_do_first(kind: str) -> None:
    """Whole, not cut; what to do ends it, unless it is over."""
    plan = load_site(FOLDER / "site.toml").plan
    for event in notices(kind):
        title, text = event.body["title"], event.body["text"]
        assert len(title) <= TITLE_SIZE
        assert len(text) <= BODY_SIZE
        assert "…" not in title + text
        assert "{" not in title + text
        rule = next(rule for rule in plan.rules if rule.id == event.body["rule"])
        if event.body["purpose"] != "recovery":
            assert text.endswith(f"First: {rule.do}")


# Common practice, no source: what is wrong, since when, how long there is, what to do first.
WORDING = {
    "pump_trip": (
        "Water has stopped: pump draws 0.0 A",
        ("pump 0.0 A since 02:12", "about 2 h 15 to 3.0, where fish are in danger"),
    ),
    "frost": ("Air is cold: 6.8 °C", ("air under 7 °C since 21:04", "About 3 h 30 to 3.0 °C, where tender trees are")),
    "dawn_oxygen": ("Oxygen in the fish tank is getting low: 4.9 mg/L", ("oxygen 4.9 mg/L (limit 5.0) since 20:48",)),
    "siphon_stuck": ("Bed 2 stays low: its siphon does not break", ("(usually 6 min) since 09:51",)),
    "slow_leak": ("Floor is wet", ("water on the floor since 08:14",)),
}


@pytest.mark.parametrize("kind", WORDING)
def test_the_first_message_of_a_day_says_what_since_when_and_how_long(kind: str) -> None:
    """In this order, with numbers and units."""
    title, parts = WORDING[kind]
    event = first_sendings(kind)[0]
    assert event.body["title"] == title
    places = [event.body["text"].index(part) for part in (*parts, "First: ")]
    assert places == sorted(places)


def test_the_leak_says_when_the_pump_runs_dry() -> None:
    """An estimate in hours, from the fall of all water over two; sooner than the sump alone would show it."""
    text = next(e.body["text"] for e in first_sendings("slow_leak") if e.body["rule"] == "loop.leak")
    assert "Losing 8.9 L/h (usually under 3 L/h) since 09:10." in text
    assert "Water in all vessels 1910 L: about 9 h to 1830, where the pump draws air" in text
