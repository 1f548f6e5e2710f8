"""Does the twin engage, release and hold back stages as worked by hand?"""

from __future__ import annotations

from rules.conditions import KINDS
from tests.twin.hand import decisions, every, judged, off, plan, rule, series, stage


def test_a_stage_engages_beyond_on_and_releases_at_off() -> None:
    """On 20, off 18: 20 is not beyond, 18 is off."""
    values = every(10, [20.0, 20.05, 18.05, 18.0, 19.0])
    assert decisions(judged(plan(stages=[stage()]), [series("p", values)], 50)) == [
        (10, "s", "engage"),
        (30, "s", "release"),
    ]


def test_a_low_stage_is_mirrored() -> None:
    """Heat below 5, not at 6."""
    low = stage(side="low", on=5, off=6, action="heat")
    values = every(10, [5.0, 4.95, 5.95, 6.0])
    assert decisions(judged(plan(stages=[low]), [series("p", values)], 50)) == [
        (10, "s", "engage"),
        (30, "s", "release"),
    ]


def test_minimum_times_hold_back_and_count_from_the_last_change() -> None:
    """On at 0 for at least 60 s, then off for at least 30 s; no waiting at the start."""
    timed = stage(min_on="60 s", min_off="30 s")
    values = {0: 21.0, 20: 17.0, 70: 21.0}
    assert decisions(judged(plan(stages=[timed]), [series("p", values)], 200)) == [
        (0, "s", "engage"),
        (20, "s", "hold"),
        (60, "s", "release"),
        (70, "s", "hold"),
        (90, "s", "engage"),
    ]


def test_a_wish_that_ends_while_it_is_held_back_is_not_carried_out() -> None:
    """Between off and on there is no wish: the release of 20 s is forgotten at 30 s."""
    values = {0: 21.0, 20: 17.0, 30: 19.0}
    assert decisions(judged(plan(stages=[stage(min_on="60 s")]), [series("p", values)], 100)) == [
        (0, "s", "engage"),
        (20, "s", "hold"),
    ]


def test_the_next_stage_waits_for_the_one_before() -> None:
    """The second wants on at once: held while the first is off, then for its step delay."""
    first = stage(id="first")
    second = stage(id="second", point="q", step_delay="30 s")
    blocks = [series("p", {10: 21.0}), series("q", {0: 21.0})]
    assert decisions(judged(plan(stages=[first, second]), blocks, 60)) == [
        (0, "second", "hold"),
        (10, "first", "engage"),
        (10, "second", "hold"),
        (40, "second", "engage"),
    ]


def test_without_a_step_delay_both_engage_at_one_instant() -> None:
    """The first in the file first."""
    stages = [stage(id="first"), stage(id="second", on=19)]
    assert decisions(judged(plan(stages=stages), [series("p", {0: 21.0})], 10)) == [
        (0, "first", "engage"),
        (0, "second", "engage"),
    ]


def test_a_stage_of_the_other_side_is_not_the_one_before() -> None:
    """Heating follows nothing here."""
    stages = [stage(id="vents"), stage(id="heater", side="low", on=5, off=6, action="heat")]
    assert decisions(judged(plan(stages=stages), [series("p", {0: 4.0})], 10)) == [(0, "heater", "engage")]


def test_a_needed_condition_holds_back() -> None:
    """Vents only while it is not too cold outside: q above 10 with a deadband of 2 and a delay that does not count."""
    mild = rule("band", id="mild", point="q", high=10, deadband=2, on_delay="1 h", priority="log")
    blocks = [series("p", {0: 21.0}), series("q", {5: 9.0, 10: 11.0})]
    assert decisions(judged(plan([mild], [stage(only_if=["mild"])]), blocks, 20)) == [
        (0, "s", "hold"),
        (10, "s", "engage"),
    ]


def test_a_decision_names_all_that_it_was_made_from() -> None:
    """The stage's own point, and what the conditions look at that it needs, through the rules that these join."""
    mild = rule("band", id="mild", point="q", high=10, priority="log")
    dry = rule("band", id="dry", point="w", low=80, priority="log")
    both = KINDS["all_of"].model_validate({"id": "both", "kind": "all_of", "rules": ["mild", "dry"], "priority": "log"})
    blocks = [series("p", {0: 21.0}), series("q", {5: 9.0, 10: 11.0}), series("w", {0: 60.0})]
    events = judged(plan([mild, dry, both], [stage(only_if=["both"])]), blocks, 20)
    assert [event.body["inputs"] for event in events if event.type == "decision"] == [
        {"p": 21.0, "q": None, "w": 60.0},
        {"p": 21.0, "q": 11.0, "w": 60.0},
    ]


def test_an_unknown_input_goes_to_the_safe_state_at_once() -> None:
    """Stale after 15 s; minimum times do not hold it back, and count from that change on."""
    timed = stage(min_on="60 s", min_off="60 s")
    values = {0: 21.0, 30: 21.0, 40: 21.0, 50: 21.0, 60: 21.0, 70: 21.0, 80: 21.0}
    assert decisions(judged(plan(stages=[timed], stale_after=15), [series("p", values)], 80)) == [
        (0, "s", "engage"),
        (15, "s", "release"),
        (30, "s", "hold"),
        (75, "s", "engage"),
    ]


def test_a_point_never_heard_goes_to_the_safe_state_after_its_time() -> None:
    """Safe on: engaged at start + stale_after."""
    assert decisions(judged(plan(stages=[stage(safe="on")], stale_after=15), [], 20)) == [(15, "s", "engage")]


def test_minimum_times_do_not_count_while_the_daemon_was_off() -> None:
    """On at 0 for at least 60 s, off from 10 s to 110 s: released at 160 s."""
    events = judged(plan(stages=[stage(min_on="60 s")]), [series("p", {0: 21.0, 120: 17.0})], 200, [off(10, 110)])
    assert decisions(events) == [(0, "s", "engage"), (120, "s", "hold"), (160, "s", "release")]
