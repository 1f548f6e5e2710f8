"""Are the times that an alarm stood found in the events, with the farthest value?"""

from __future__ import annotations

from typing import Any

import pytest

from demo_replay.episodes import Episode, called, episodes, peak
from demo_replay.replay import replay
from rules.acts import Act, ActKind
from rules.block import Block, block
from rules.events import Event
from rules.flags import Flag
from tests.replays import MINUTE, POINTS, START, plan, recording, rule


def moved(minute: int, was: str, state: str, *, since: int = 0, why: str = "", side: str = "high") -> Event:
    """An alarm event of tank.warm, `minute` minutes after START."""
    body: dict[str, Any] = {"rule": "tank.warm", "side": side, "was": was, "state": state, "priority": "high"}
    return Event(
        START + minute * MINUTE,
        "alarm",
        {**body, "value": 27.0, "unit": "degC", "why": why, "since": START + since * MINUTE},
    )


def times(one: Episode) -> tuple[int | None, ...]:
    """Onset, raised, told and ended in minutes after START."""
    return tuple(None if ms is None else (ms - START) // MINUTE for ms in (one.onset, one.raised, one.told, one.ended))


def test_an_alarm_that_returns_and_comes_again_stood_twice() -> None:
    """Each time has its own onset, raising and end; the last still stands."""
    found = episodes(
        [
            moved(20, "normal", "unacknowledged", since=10),
            moved(40, "unacknowledged", "returned"),
            moved(60, "returned", "unacknowledged", since=50),
        ]
    )
    assert [times(one) for one in found] == [(10, 20, 20, 40), (50, 60, 60, None)]
    assert [one.state for one in found] == ["returned", "unacknowledged"]


def test_acknowledging_does_not_end_an_alarm() -> None:
    """It stands until it returns to normal."""
    found = episodes(
        [
            moved(20, "normal", "unacknowledged", since=10),
            moved(30, "unacknowledged", "acknowledged"),
            moved(40, "acknowledged", "normal"),
        ]
    )
    assert [times(one) for one in found] == [(10, 20, 20, 40)]


def test_an_alarm_explained_all_along_was_never_told() -> None:
    """It stood, but nobody heard of it."""
    found = episodes(
        [
            moved(20, "normal", "suppressed", since=10, why="explained by loop.stopped"),
            moved(40, "suppressed", "normal"),
        ]
    )
    assert [times(one) for one in found] == [(10, 20, None, 40)]
    assert found[0].why == "explained by loop.stopped"


def test_an_alarm_explained_at_first_was_told_when_it_was_released() -> None:
    """One time, with the instant at which people heard of it."""
    found = episodes(
        [
            moved(20, "normal", "suppressed", since=10),
            moved(30, "suppressed", "unacknowledged", since=10),
            moved(40, "unacknowledged", "returned"),
        ]
    )
    assert [times(one) for one in found] == [(10, 20, 30, 40)]


def test_shelving_does_not_end_an_alarm() -> None:
    """Its end is its return."""
    found = episodes(
        [
            moved(20, "normal", "unacknowledged", since=10),
            moved(25, "unacknowledged", "shelved"),
            moved(40, "shelved", "normal"),
        ]
    )
    assert [times(one) for one in found] == [(10, 20, 20, 40)]


def test_an_alarm_that_speaks_again_after_its_shelving_was_told_when_it_first_spoke() -> None:
    """It is the same alarm still."""
    found = episodes(
        [
            moved(20, "normal", "unacknowledged", since=10),
            moved(25, "unacknowledged", "shelved"),
            moved(30, "shelved", "unacknowledged", since=10),
        ]
    )
    assert [times(one) for one in found] == [(10, 20, 20, None)]


def test_sides_stand_apart_and_other_events_count_for_nothing() -> None:
    """Two sides of one rule are two alarms; a notice is none."""
    found = episodes(
        [
            moved(20, "normal", "unacknowledged", side="high"),
            moved(21, "normal", "unacknowledged", side="low"),
            Event(START, "notice", {"rule": "tank.warm"}),
        ]
    )
    assert [one.side for one in found] == ["high", "low"]


@pytest.mark.parametrize(("ended", "end", "lasted"), [(None, 60, 50), (40, 60, 30), (40, 20, 30)])
def test_an_alarm_lasts_from_its_onset_to_its_return_or_to_the_end(ended: int | None, end: int, lasted: int) -> None:
    """From minute 10 to its end, or to the end of the replay where it still stands."""
    events = [moved(20, "normal", "unacknowledged", since=10)]
    if ended is not None:
        events.append(moved(ended, "unacknowledged", "returned"))
    (one,) = episodes(events)
    assert one.lasted(START + end * MINUTE) == lasted * MINUTE


@pytest.mark.parametrize(
    ("rule_name", "side", "shown"),
    [
        ("tank.warm", "high", "tank.warm high"),
        ("loop.stopped", "stopped", "loop.stopped"),
        ("tank.oxygen_low", "low", "tank.oxygen_low"),
        ("tank.below", "low", "tank.below low"),
    ],
)
def test_a_side_that_the_rule_names_already_is_left_out(rule_name: str, side: str, shown: str) -> None:
    """Only a whole word of the name counts."""
    assert called(rule_name, side) == shown


def test_the_peak_is_the_farthest_value_between_onset_and_return() -> None:
    """Highest on a high side, the first of equals; what lies outside the alarm does not count."""
    values = [290] + [250] * 9 + [270, 275, 280, 280, 270] * 4 + [250] * 10 + [285]
    source = recording({"tank.temperature": values})
    warm = rule("band", "tank.warm", point="tank.temperature", high=26, on_delay="10 min")
    (one,) = episodes(replay(plan([warm]), source).events)
    found = peak(POINTS[0], source, one, START + 60 * MINUTE)
    assert found is not None
    assert (found.counts, found.time) == (280, START + 12 * MINUTE)


def test_the_peak_of_a_low_side_is_the_lowest_value() -> None:
    """While it still stands, up to the end."""
    source = recording({"tank.temperature": [250, 190, 180, 185]})
    cold = rule("band", "tank.cold", point="tank.temperature", low=20)
    (one,) = episodes(replay(plan([cold]), source).events)
    found = peak(POINTS[0], source, one, START + 3 * MINUTE)
    assert found is not None
    assert found.counts == 180


def test_a_failed_reading_is_no_peak() -> None:
    """What a flag calls failed was not believed by the rule either."""
    part = block("tank.temperature", [START, START + MINUTE, START + 2 * MINUTE], [270, 850, 275])
    part = Block(part.point, part.times, part.values, part.flags.copy())
    part.flags[1] = Flag.FAIL
    source = recording({})
    source.blocks = dict(source.blocks) | {"tank.temperature": part}
    one = Episode("tank.warm", "high", "high", START, START, None, START, "unacknowledged", 27.0, "degC", "")
    found = peak(POINTS[0], source, one, START + 2 * MINUTE)
    assert found is not None
    assert found.counts == 275


def test_without_a_usable_reading_there_is_no_peak() -> None:
    """Only missing readings in its time."""
    source = recording({"tank.temperature": [None, None]})
    one = Episode("tank.warm", "high", "high", START, START, None, START, "unacknowledged", None, "degC", "")
    assert peak(POINTS[0], source, one, START + MINUTE) is None


def test_a_side_without_a_direction_has_no_peak() -> None:
    """Silence has no farthest value."""
    source = recording({"tank.temperature": [270]})
    one = Episode("tank.silent", "silent", "high", START, START, None, START, "unacknowledged", None, "degC", "")
    assert peak(POINTS[0], source, one, START) is None


def test_an_acknowledged_alarm_of_the_engine_stood_once() -> None:
    """The engine's own events, with an act in between."""
    source = recording({"tank.temperature": [270] * 30 + [250] * 5})
    acts = [Act(START + 20 * MINUTE, ActKind.ACKNOWLEDGE, rule="tank.warm")]
    (one,) = episodes(replay(plan(), source, acts=acts).events)
    assert times(one) == (0, 10, 10, 30)
