"""Does the twin weigh slopes, spans and evidence as worked by hand?"""

from __future__ import annotations

from typing import Any

from rules.settings import RuleSettings
from tests.twin.hand import alarms, every, judged, plan, rule, series


def _stopped(*evidence: dict[str, Any], needed: int = 1, **settings: Any) -> RuleSettings:
    pieces = [{"point": "p", **piece} for piece in evidence]
    return rule("stopped", evidence=pieces, needed=needed, **settings)


def test_a_slope_at_the_limit_is_not_beyond_it() -> None:
    """1.5 degC in each minute: rise "1.5 degC/min" is not passed, "1.499 degC/min" is, at the third reading."""
    values = every(60, [10.0, 11.5, 13.0, 14.5])
    settings: dict[str, Any] = {"window": "3 min", "min_readings": 3}
    at_limit = judged(plan([rule("rate", rise="1.5 degC/min", **settings)]), [series("p", values)], 200)
    beyond = judged(plan([rule("rate", rise="1.499 degC/min", **settings)]), [series("p", values)], 200)
    assert (alarms(at_limit), alarms(beyond)) == ([], [(120, "rise", "unacknowledged")])


def test_a_rate_returns_at_its_limit_less_the_deadband() -> None:
    """Rise 2, fall 2, deadband 1 degC/min over pairs of readings: slopes 3, 1.5, 1 and -3, -1.5, -1."""
    made = rule("rate", rise="2 degC/min", fall="2 degC/min", deadband="1 degC/min", window="1 min", min_readings=2)
    values = every(60, [0.0, 3.0, 4.5, 5.5, 2.5, 1.0, 0.0])
    assert alarms(judged(plan([made]), [series("p", values)], 400)) == [
        (60, "rise", "unacknowledged"),
        (180, "rise", "returned"),
        (240, "fall", "unacknowledged"),
        (360, "fall", "returned"),
    ]


def test_the_slope_is_the_least_squares_one() -> None:
    """0, 1, 5 at 0, 1, 2 min: slope (3*11 - 3*6)/(3*5 - 9) = 2.5 degC/min, return at 2.5 - 0 or less.

    Then 0 at 3 min leaves 1, 5, 0 in the window: (3*5 - 3*6)/6 = -0.5.
    """
    values = every(60, [0.0, 1.0, 5.0, 0.0])
    made = rule("rate", rise="2.45 degC/min", fall="0.5 degC/min", window="2 min", min_readings=3)
    assert alarms(judged(plan([made]), [series("p", values)], 200)) == [
        (120, "rise", "unacknowledged"),
        (180, "rise", "returned"),
    ]


def test_a_slope_is_unknown_before_enough_readings_and_span() -> None:
    """Readings each 10 s rise fast; the span of a minute is met at 60 s, five readings only at 60 s or later."""
    values = every(10, [float(v) for v in range(10)])
    by_span = rule("rate", rise="1 degC/min", window="2 min", min_readings=2)
    by_count = rule("rate", rise="1 degC/min", window="2 min", min_readings=9, min_span="10 s")
    assert alarms(judged(plan([by_span]), [series("p", values)], 90)) == [(60, "rise", "unacknowledged")]
    assert alarms(judged(plan([by_count]), [series("p", values)], 90)) == [(80, "rise", "unacknowledged")]


def test_a_window_does_not_reach_across_a_time_of_silence() -> None:
    """After a gap the slope must be earned again: two readings of the new run are at 100 and 160 s."""
    values = {0: 0.0, 60: 0.0, 100: 5.0, 160: 6.0}
    made = rule("rate", rise="0.5 degC/min", window="3 min", min_readings=2, min_span="60 s")
    through = judged(plan([made]), [series("p", values)], 200)
    broken = judged(plan([made], stale_after=30), [series("p", {**values, 130: 5.5})], 200)
    assert alarms(through) == [(100, "rise", "unacknowledged")]
    assert alarms(broken) == [(160, "rise", "unacknowledged")]


def test_under_and_over_are_strict() -> None:
    """At the value is not under it."""
    made = _stopped({"under": 10}, {"point": "q", "over": 10}, needed=2)
    blocks = [series("p", {0: 9.95, 20: 10.0, 30: 9.95}), series("q", {10: 10.05, 40: 10.0})]
    assert alarms(judged(plan([made]), blocks, 50)) == [
        (0, "stopped", "unacknowledged"),
        (20, "stopped", "returned"),
        (30, "stopped", "unacknowledged"),
        (40, "stopped", "returned"),
    ]


def test_with_less_known_than_needed_all_that_is_known_must_be_true() -> None:
    """Two needed, one known: it alone decides until the other is heard."""
    made = _stopped({"under": 10}, {"point": "q", "under": 10}, needed=2)
    blocks = [series("p", {0: 9.0}), series("q", {10: 11.0, 20: 9.0})]
    assert alarms(judged(plan([made]), blocks, 30)) == [
        (0, "stopped", "unacknowledged"),
        (10, "stopped", "returned"),
        (20, "stopped", "unacknowledged"),
    ]


def test_contrary_evidence_outweighs() -> None:
    """A bed that moved by 2 within a minute weighs -1: no flow and it are 0 < 1."""
    made = _stopped({"under": 10}, {"point": "q", "moved": 2, "window": "1 min", "weight": -1})
    blocks = [series("p", {0: 9.0, 100: 9.0}), series("q", {0: 20.0, 30: 22.0, 90.001: 22.0})]
    assert alarms(judged(plan([made]), blocks, 120)) == [
        (0, "stopped", "unacknowledged"),
        (30, "stopped", "returned"),
        (90.001, "stopped", "unacknowledged"),
    ]


def test_still_is_unknown_until_its_window_is_covered() -> None:
    """Readings each 20 s: a window of a minute is covered at 60 s; span 0.5 is met exactly.

    At 100 s the 20.0 of 40 s lies on the edge of the window and still counts: 0.55.
    """
    made = _stopped({"still": 0.5, "window": "1 min"})
    values = every(20, [20.0, 20.5, 20.0, 20.5, 20.55, 20.55, 20.55, 21.1])
    assert alarms(judged(plan([made]), [series("p", values)], 140)) == [
        (60, "stopped", "unacknowledged"),
        (80, "stopped", "returned"),
        (120, "stopped", "unacknowledged"),
        (140, "stopped", "returned"),
    ]


def test_evidence_that_must_last_is_known_but_not_true_meanwhile() -> None:
    """Under 10 from 0 s, lasting 30 s: true at 30 s. The other, true from 10 s, is one of two needed."""
    made = _stopped({"under": 10, "lasting": "30 s"}, {"point": "q", "under": 10}, needed=2)
    blocks = [series("p", {0: 9.0}), series("q", {10: 9.0})]
    assert alarms(judged(plan([made]), blocks, 60)) == [(30, "stopped", "unacknowledged")]


def test_a_break_begins_the_lasting_anew() -> None:
    """Not under 10 at 20 s, under again at 25 s: true at 55 s, and on_delay counts from there."""
    made = _stopped({"under": 10, "lasting": "30 s"}, on_delay="5 s")
    assert alarms(judged(plan([made]), [series("p", {0: 9.0, 20: 10.0, 25: 9.0})], 70)) == [
        (60, "stopped", "unacknowledged")
    ]


def test_falling_and_rising_are_beyond_a_rate() -> None:
    """-1 degC a minute is falling faster than 0.9 and not faster than 1."""
    values = every(60, [20.0, 19.0, 18.0])
    faster = _stopped({"falling": "0.9 degC/min", "window": "2 min"})
    as_fast = _stopped({"falling": "1 degC/min", "window": "2 min"})
    rising = _stopped({"rising": "0.9 degC/min", "window": "2 min"})
    said = [alarms(judged(plan([made]), [series("p", values)], 150)) for made in (faster, as_fast, rising)]
    assert said == [[(120, "stopped", "unacknowledged")], [], []]


def test_rising_at_its_rate_is_not_faster() -> None:
    """1 degC a minute is not rising faster than 1."""
    made = _stopped({"rising": "1 degC/min", "window": "2 min"})
    assert alarms(judged(plan([made]), [series("p", every(60, [20.0, 21.0, 22.0]))], 150)) == []


def test_blind_when_every_positive_evidence_is_silent() -> None:
    """p silent at 10 s, q at 20 s: blind at 20 s with a lower priority; stopped stays; heard again: back."""
    made = _stopped({"under": 10}, {"point": "q", "under": 10}, {"point": "w", "over": 0, "weight": -1})
    blocks = [series("p", {0: 9.0, 40: 9.0}), series("q", {10: 9.0})]
    events = judged(plan([made], stale_after=10), blocks, 45)
    assert alarms(events) == [
        (0, "stopped", "unacknowledged"),
        (20, "blind", "unacknowledged"),
        (40, "blind", "returned"),
    ]
    assert [event.body["priority"] for event in events] == ["high", "medium", "medium"]


def test_never_heard_evidence_is_blind_only_after_its_time() -> None:
    """Nothing is heard: blind at start + stale_after."""
    assert alarms(judged(plan([_stopped({"under": 10})], stale_after=10), [], 20)) == [(10, "blind", "unacknowledged")]
