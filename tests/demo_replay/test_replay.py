"""Does a replay say what the engine would have said, and only about the span that is asked for?"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.recordings import Recording
from demo_replay.replay import NothingToReplay, WithDerived, replay
from rules.acts import Act, ActKind
from rules.block import block
from rules.engine import Engine
from rules.quality.spike import SpikeSettings
from tests.replays import DAY, FLOW_SHARE, HOUR, MINUTE, START, moves, person, plan, recording, rule, stage

COOL_HOT_COOL = [250] * 10 + [270] * 30 + [250] * 20
"""Warm from minute 10, back at minute 40: raised at 20, returned at 40."""


def test_an_alarm_is_raised_after_its_delay_and_returns() -> None:
    """The plain case: onset at minute 10, raised at 20, returned at 40."""
    replayed = replay(plan(), recording({"tank.temperature": COOL_HOT_COOL}))
    assert moves(replayed.events) == [(20, "tank.warm", "unacknowledged"), (40, "tank.warm", "returned")]
    assert replayed.recorded == replayed.shown == (START, START + 59 * MINUTE)
    assert replayed.readings == 60
    assert [alarm["state"] for alarm in replayed.alarms] == ["returned"]


@st.composite
def _recordings(draw: st.DrawFn) -> Recording:
    """Two points over up to two weeks, with holes, so that a replay is cut many times."""
    blocks = {}
    for point, low, high in (("tank.temperature", 240, 275), ("loop.flow", 0, 40)):
        steps = draw(st.lists(st.sampled_from([MINUTE, 4 * MINUTE, HOUR, 11 * HOUR, DAY]), min_size=1, max_size=30))
        times = [START + sum(steps[:index]) for index in range(len(steps))]
        values = draw(st.lists(st.one_of(st.none(), st.integers(low, high)), min_size=len(steps), max_size=len(steps)))
        blocks[point] = block(point, times, values)
    return Recording(blocks)


_RULES = (
    rule("band", "tank.warm", point="tank.temperature", high=26, deadband=1, on_delay="3 min"),
    rule("silent", "flow.silent", point="loop.flow", on_delay="2 h", explains=["loop.stopped"]),
    rule("stopped", "loop.stopped", evidence=[{"point": "loop.flow", "under": 2, "lasting": "90 s"}]),
    rule("rate", "tank.rush", point="tank.temperature", rise="1 degC/h", window="1 h", min_readings=2),
)
_STAGE = stage("vents", point="tank.temperature", on=26, off=25)


@given(_recordings())
def test_the_cuts_of_a_replay_change_no_event(source: Recording) -> None:
    """A replay, which is fed in pieces, says the same as the engine that gets all readings in one step."""
    site = plan(_RULES, [_STAGE], persons=[person("anna", after="1 min")])
    span = source.span()
    assert span is not None
    engine = Engine(site, span[0])
    blocks = [part for point in source.points() for part in source.read(point, span[0] - 1, span[1])]
    assert replay(site, source).events == engine.step(blocks, (), span[1] + site.settle)


def test_a_delay_that_ends_with_the_last_reading_is_over() -> None:
    """Warm from minute 10 on: the delay of 10 min ends at minute 20, which is the last reading."""
    replayed = replay(plan(), recording({"tank.temperature": COOL_HOT_COOL[:21]}))
    assert moves(replayed.events) == [(20, "tank.warm", "unacknowledged")]
    assert moves(replay(plan(), recording({"tank.temperature": COOL_HOT_COOL[:20]})).events) == []


def test_what_happens_before_from_is_judged_and_hidden() -> None:
    """An alarm raised before `from_` is not among the events, but its return is; both are in one of the two lists."""
    source = recording({"tank.temperature": COOL_HOT_COOL})
    replayed = replay(plan(), source, from_=START + 30 * MINUTE)
    assert moves(replayed.warm_up) == [(20, "tank.warm", "unacknowledged")]
    assert moves(replayed.events) == [(40, "tank.warm", "returned")]
    assert replayed.shown == (START + 30 * MINUTE, START + 59 * MINUTE)
    assert [*replayed.warm_up, *replayed.events] == replay(plan(), source).events


@pytest.mark.parametrize(("minute", "shown"), [(19, 1), (20, 1), (21, 0)])
def test_an_event_at_from_is_shown(minute: int, shown: int) -> None:
    """The raising at minute 20 is shown when the span begins before or at it, not after."""
    source = recording({"tank.temperature": COOL_HOT_COOL})
    replayed = replay(plan(), source, from_=START + minute * MINUTE, to=START + 30 * MINUTE)
    assert len(replayed.events) == shown


@pytest.mark.parametrize(("minute", "count"), [(39, 1), (40, 2), (41, 2)])
def test_nothing_after_to_is_judged(minute: int, count: int) -> None:
    """The return at minute 40 is seen when the replay stops at or after it."""
    replayed = replay(plan(), recording({"tank.temperature": COOL_HOT_COOL}), to=START + minute * MINUTE)
    assert len(moves(replayed.events)) == count
    assert replayed.shown[1] == START + minute * MINUTE
    assert replayed.readings == minute + 1


def test_a_delay_due_at_to_is_over() -> None:
    """Stopped at minute 20 the alarm is raised, a millisecond earlier it is not."""
    source = recording({"tank.temperature": COOL_HOT_COOL})
    assert len(replay(plan(), source, to=START + 20 * MINUTE).events) == 1
    assert replay(plan(), source, to=START + 20 * MINUTE - 1).events == []


def test_readings_before_warm_from_are_left_out() -> None:
    """Judged from minute 15 on, the onset is at 15 and the alarm at 25."""
    replayed = replay(plan(), recording({"tank.temperature": COOL_HOT_COOL}), warm_from=START + 15 * MINUTE)
    assert moves(replayed.events)[0] == (25, "tank.warm", "unacknowledged")
    assert replayed.recorded[0] == START + 15 * MINUTE


def test_a_span_in_which_the_daemon_did_not_run_counts_for_no_delay() -> None:
    """Off from minute 12 to 17: the delay that began at 10 ends at 25 instead of 20."""
    off = Act(START + 12 * MINUTE, ActKind.OFF, who="tidebed", until=START + 17 * MINUTE)
    values = [*COOL_HOT_COOL[:12], *[None] * 5, *COOL_HOT_COOL[17:]]
    replayed = replay(plan(), recording({"tank.temperature": values}), acts=[off])
    assert moves(replayed.events)[0] == (25, "tank.warm", "unacknowledged")
    assert next(event.type for event in replayed.events) == "off"


def test_what_people_did_is_honoured() -> None:
    """Acknowledged at minute 30, the alarm goes straight back to normal at 40; an act after the end is left out."""
    acts = [
        Act(START + 30 * MINUTE, ActKind.ACKNOWLEDGE, rule="tank.warm"),
        Act(START + 70 * MINUTE, ActKind.NOTE, text="later"),
    ]
    replayed = replay(plan(), recording({"tank.temperature": COOL_HOT_COOL}), acts=acts)
    assert moves(replayed.events) == [
        (20, "tank.warm", "unacknowledged"),
        (30, "tank.warm", "acknowledged"),
        (40, "tank.warm", "normal"),
    ]
    assert sum(event.type == "act" for event in replayed.events) == 1


def test_an_act_is_heard_once_though_the_replay_is_cut() -> None:
    """A note in a recording of ten days."""
    note = Act(START + 3 * HOUR, ActKind.NOTE, text="filter emptied")
    source = recording({"tank.temperature": [250] * 240}, every=HOUR)
    assert [event.type for event in replay(plan(), source, acts=[note]).events] == ["act"]


def test_a_shelving_from_before_the_start_counts_while_it_lasts() -> None:
    """With the readings from minute 15 on, a shelving made at minute 5 until 30 still holds the alarm back."""
    shelved = Act(START + 5 * MINUTE, ActKind.SHELVE, rule="tank.warm", until=START + 30 * MINUTE)
    source = recording({"tank.temperature": COOL_HOT_COOL})
    replayed = replay(plan(), source, acts=[shelved], warm_from=START + 15 * MINUTE)
    assert (30, "tank.warm", "unacknowledged") in moves(replayed.events)
    assert (25, "tank.warm", "unacknowledged") not in moves(replayed.events)


def test_a_store_is_judged_to_the_end_of_what_was_watched() -> None:
    """Readings end at minute 9, the daemon watched until 60: the silence from minute 14 on is an alarm."""
    silent = rule("silent", "tank.silent", point="tank.temperature")
    source = recording({"tank.temperature": [250] * 10})
    assert replay(plan([silent]), source).events == []
    watched = replay(plan([silent]), source, span=(START, START + 60 * MINUTE))
    assert moves(watched.events) == [(14, "tank.silent", "unacknowledged")]


def test_what_is_worked_out_from_readings_is_judged_and_kept() -> None:
    """A flow of 20 L/min that falls to 8 is 0.4 of what it was; the values are kept beside the recording."""
    slow = rule("band", "flow.slow", point="flow.share", low="0.5", on_delay="5 min")
    source = recording({"loop.flow": [200] * 10 + [80] * 20})
    replayed = replay(plan([slow], derived=[FLOW_SHARE]), source)
    assert moves(replayed.events) == [(15, "flow.slow", "unacknowledged")]
    assert replayed.derived["flow.share"].values.tolist() == [100] * 10 + [40] * 20
    both = WithDerived(source, replayed.derived, replayed.doubted)
    assert both.points() == ["loop.flow", "flow.share"]
    assert both.span() == source.span()
    (part,) = both.read("flow.share", START + 9 * MINUTE, START + 11 * MINUTE)
    assert (part.times.tolist(), part.values.tolist()) == ([START + 10 * MINUTE, START + 11 * MINUTE], [40, 40])


def test_a_picture_shows_what_the_quality_tests_doubted_in_the_end() -> None:
    """A spike at minute 12 passes when rules judge it and fails in the end; the recording itself stays as it came."""
    source = recording({"tank.temperature": [250] * 12 + [900] + [250] * 300})
    spike = SpikeSettings(suspect=Decimal(1), fail=Decimal(5), method="differential")
    water, *others = plan().points
    tested = replace(plan(), points=(replace(water, quality=(spike,)), *others))
    replayed = replay(tested, source)
    assert [finals.listed() for finals in replayed.doubted.values()] == [[(START + 12 * MINUTE, 4)]]
    shown = WithDerived(source, replayed.derived, replayed.doubted)
    flags = np.concatenate([part.flags for part in shown.read("tank.temperature", START - 1, START + DAY)])
    assert np.flatnonzero(flags == 4).tolist() == [12]
    assert not any((part.flags == 4).any() for part in source.read("tank.temperature", START - 1, START + DAY))
    (after,) = shown.read("tank.temperature", START + 12 * MINUTE, START + 14 * MINUTE)
    assert after.flags.tolist() == [2, 2]


def test_a_recording_of_other_points_is_refused() -> None:
    """The message names what the recording holds."""
    with pytest.raises(NothingToReplay, match=r"no point of Alder Lane has a reading .* holds pond\.level; name its"):
        replay(plan(), recording({"pond.level": [1, 2]}))


def test_an_empty_recording_is_refused() -> None:
    """A recording without any reading says so."""
    with pytest.raises(NothingToReplay, match="holds nothing at all"):
        replay(plan(), Recording({}))


@pytest.mark.parametrize("asked", [{"from_": START + DAY}, {"to": START - 1}])
def test_a_span_outside_the_recording_is_refused(asked: dict[str, int]) -> None:
    """The message tells how long the recording lasts."""
    with pytest.raises(
        NothingToReplay, match=r"lasts from 2026-04-02T09:00:00.000Z to .*choose another --from or --to"
    ):
        replay(plan(), recording({"tank.temperature": [250] * 5}), **asked)  # type: ignore[arg-type] # only ms are given


def test_progress_is_told_and_ends_at_the_end() -> None:
    """What is done grows to what there is in all."""
    told: list[tuple[int, int]] = []
    source = recording({"tank.temperature": [250] * 200}, every=HOUR)
    replay(plan(), source, progress=lambda done, total: told.append((done, total)))
    done = [part for part, _ in told]
    assert done == sorted(done)
    assert len(told) > 10
    assert {total for _, total in told} == {199 * HOUR + 1}
    assert done[-1] == 199 * HOUR + 1
