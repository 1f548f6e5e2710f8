"""Does the twin treat limits, deadbands and delays as worked by hand?

Sequences marked (worked metric) follow from the alarm definitions of ANSI/ISA-18.2 and OPC UA Part 9: a delay is met
when `now - first true >= delay`, and the deadband belongs to the return alone. The others
follow from the meaning of the rules.
"""

from __future__ import annotations

from tests.twin.hand import acknowledged, active_at, alarms, at, every, judged, off, plan, rule, series


def test_a_low_limit_with_deadband_is_left_only_beyond_the_deadband() -> None:
    """Limit low 5.0, deadband 0.25: 5.25 4.9 5.1 5.2 5.3 4.95 is 0 1 1 1 0 1 (worked metric)."""
    values = every(10, [5.25, 4.9, 5.1, 5.2, 5.3, 4.95])
    events = judged(plan([rule("band", low=5, deadband=0.25)]), [series("p", values)], 50)
    assert active_at(events, values) == [0, 1, 1, 1, 0, 1]


def test_a_high_limit_with_deadband_is_left_at_the_deadband() -> None:
    """Limit high 30, deadband 0.5: 29.5 30.1 29.75 29.5 30.0 30.5 is 0 1 1 0 0 1 (worked metric)."""
    values = every(10, [29.5, 30.1, 29.75, 29.5, 30.0, 30.5])
    events = judged(plan([rule("band", high=30, deadband=0.5)]), [series("p", values)], 50)
    assert active_at(events, values) == [0, 1, 1, 0, 0, 1]


def test_a_value_at_a_low_limit_is_not_below_it_and_returns_at_the_deadband() -> None:
    """Limit low 5, deadband 0.25: 5.0 is no alarm, 4.95 is, 5.2 is no return, 5.25 is."""
    values = every(10, [5.0, 4.95, 5.2, 5.25])
    events = judged(plan([rule("band", low=5, deadband=0.25)]), [series("p", values)], 50)
    assert alarms(events) == [(10, "low", "unacknowledged"), (30, "low", "returned")]


def test_both_delays_hold_as_in_the_worked_series() -> None:
    """On and off delay 30 s, a reading each 10 s, condition 011011111010000 gives 000000011111110 (worked metric)."""
    condition = [int(c) for c in "011011111010000"]
    values = every(10, [31.0 if c else 29.0 for c in condition])
    events = judged(plan([rule("band", high=30, on_delay="30 s", off_delay="30 s")]), [series("p", values)], 140)
    assert active_at(events, values) == [int(c) for c in "000000011111110"]


def test_a_limit_between_two_counts_is_not_rounded() -> None:
    """With a resolution of 0.05 and a high limit of 30.02, 30.00 is within and 30.05 is beyond."""
    events = judged(plan([rule("band", high=30.02)]), [series("p", {0: 30.0, 10: 30.05, 20: 30.0})], 20)
    assert alarms(events) == [(10, "high", "unacknowledged"), (20, "high", "returned")]


def test_a_limit_may_be_in_another_unit() -> None:
    """86 degF is 30 degC and 0.9 degF of deadband is 0.5 K: 30.00 is within, 30.05 beyond, 29.50 back."""
    values = {0: 30.0, 10: 30.05, 20: 29.55, 30: 29.5}
    events = judged(plan([rule("band", high="86 degF", deadband="0.9 degF")]), [series("p", values)], 30)
    assert alarms(events) == [(10, "high", "unacknowledged"), (30, "high", "returned")]


def test_a_reading_back_within_at_the_end_of_the_delay_cancels_it() -> None:
    """On-delay 20 s from 10 s: back within at 30 s exactly, so no alarm."""
    events = judged(plan([rule("band", high=30, on_delay="20 s")]), [series("p", {10: 31.0, 30: 30.0})], 100)
    assert alarms(events) == []


def test_an_alarm_comes_between_readings_when_its_delay_ends() -> None:
    """On-delay 20 s from 10 s, back within a millisecond late: the alarm is at 30 s."""
    events = judged(plan([rule("band", high=30, on_delay="20 s")]), [series("p", {10: 31.0, 30.001: 30.0})], 100)
    assert alarms(events) == [(30, "high", "unacknowledged"), (30.001, "high", "returned")]


def test_a_waiting_start_ends_within_the_limit_without_the_deadband() -> None:
    """The deadband belongs to the return alone: 29.8 ends the waiting though it is no return."""
    values = {0: 31.0, 10: 29.8, 20: 31.0, 50: 31.0}
    events = judged(plan([rule("band", high=30, deadband=0.5, on_delay="30 s")]), [series("p", values)], 60)
    assert alarms(events) == [(50, "high", "unacknowledged")]


def test_a_reading_in_the_deadband_ends_a_waiting_return() -> None:
    """Off-delay 20 s: within at 10, in the deadband at 20, within from 30: returned at 50."""
    values = {0: 31.0, 10: 29.0, 20: 29.8, 30: 29.0}
    events = judged(plan([rule("band", high=30, deadband=0.5, off_delay="20 s")]), [series("p", values)], 60)
    assert alarms(events) == [(0, "high", "unacknowledged"), (50, "high", "returned")]


def test_unknown_ends_waiting_and_leaves_an_active_alarm_active() -> None:
    """Stale after 15 s: the waiting of 20 s never ends well, and an active alarm stays."""
    waiting = judged(plan([rule("band", high=30, on_delay="20 s")], stale_after=15), [series("p", {0: 31.0})], 100)
    active = judged(plan([rule("band", high=30)], stale_after=15), [series("p", {0: 31.0})], 100)
    assert (alarms(waiting), alarms(active)) == ([], [(0, "high", "unacknowledged")])


def test_unknown_ends_a_waiting_return() -> None:
    """Back at 10, unknown at 25, back again at 40: an off-delay of 20 s ends at 60."""
    values = {0: 31.0, 10: 29.0, 40: 29.0, 50: 29.0}
    events = judged(plan([rule("band", high=30, off_delay="20 s")], stale_after=15), [series("p", values)], 60)
    assert alarms(events) == [(0, "high", "unacknowledged"), (60, "high", "returned")]


def test_from_one_side_to_the_other_the_onset_precedes_the_return() -> None:
    """A fall from above the high limit to below the low one: low comes, then high goes, at one instant."""
    events = judged(plan([rule("band", high=30, low=10)]), [series("p", {0: 31.0, 10: 9.0})], 10)
    assert alarms(events) == [(0, "high", "unacknowledged"), (10, "low", "unacknowledged"), (10, "high", "returned")]


def test_people_acknowledge_and_the_states_follow_the_table() -> None:
    """B -ack-> C -return-> A, B -return-> D -ack-> A, D -abnormal-> B (ISA-18.2 state table)."""
    values = {0: 31.0, 20: 29.0, 30: 31.0, 40: 29.0, 60: 31.0, 70: 29.0, 80: 31.0}
    acts = [acknowledged(10, "r"), acknowledged(50)]
    events = judged(plan([rule("band", high=30)]), [series("p", values)], 90, acts)
    assert [(t, state) for t, _, state in alarms(events)] == [
        (0, "unacknowledged"),
        (10, "acknowledged"),
        (20, "normal"),
        (30, "unacknowledged"),
        (40, "returned"),
        (50, "normal"),
        (60, "unacknowledged"),
        (70, "returned"),
        (80, "unacknowledged"),
    ]


def test_acknowledging_comes_before_the_readings_of_its_instant() -> None:
    """An acknowledgement at the instant of the onset finds nothing to acknowledge."""
    events = judged(plan([rule("band", high=30)]), [series("p", {10: 31.0})], 20, [acknowledged(10)])
    assert alarms(events) == [(10, "high", "unacknowledged")]


def test_acknowledging_another_side_or_rule_changes_nothing() -> None:
    """Only the side that is named is acknowledged."""
    acts = [acknowledged(10, "r", "low"), acknowledged(10, "other"), acknowledged(20, None, "high")]
    events = judged(plan([rule("band", high=30, low=10)]), [series("p", {0: 31.0})], 30, acts)
    assert alarms(events) == [(0, "high", "unacknowledged"), (20, "high", "acknowledged")]


def test_priority_log_raises_no_alarm() -> None:
    """A rule with priority log says nothing."""
    assert judged(plan([rule("band", high=30, priority="log")]), [series("p", {0: 31.0})], 10) == []


def test_no_delay_counts_while_the_daemon_was_off() -> None:
    """On-delay 60 s from 10 s, off from 30 s to 130 s: 20 s have passed by 130, so the alarm is at 170."""
    values = {10: 31.0}
    events = judged(plan([rule("band", high=30, on_delay="60 s")]), [series("p", values)], 300, [off(30, 130)])
    assert alarms(events) == [(170, "high", "unacknowledged")]


def test_a_delay_begun_inside_an_off_span_counts_from_its_end() -> None:
    """A reading of 50 s that was buffered: 60 s from the end of the span at 130."""
    events = judged(plan([rule("band", high=30, on_delay="60 s")]), [series("p", {50: 31.0})], 300, [off(30, 130)])
    assert alarms(events) == [(190, "high", "unacknowledged")]


def test_without_a_delay_the_alarm_is_at_the_reading_even_inside_an_off_span() -> None:
    """No delay: nothing to count."""
    events = judged(plan([rule("band", high=30)]), [series("p", {50: 31.0})], 300, [off(30, 130)])
    assert alarms(events) == [(50, "high", "unacknowledged")]


def test_a_limit_by_the_hour_belongs_to_the_time_of_the_reading() -> None:
    """From 12:00:20 UTC, that is 13:00:20 in Dublin in June, nothing changes at 13:01 until a reading is of 13:01."""
    limited = rule("band", high=30, limits=[{"hours": "13:01-14:00", "high": 25}])
    values = {0: 27.0, 59: 27.0, 61: 27.0, 62: 25.0}
    events = judged(plan([limited], timezone="Europe/Dublin"), [series("p", values)], 100)
    assert alarms(events) == [(61, "high", "unacknowledged"), (62, "high", "returned")]


def test_the_first_limit_that_fits_and_gives_the_side_wins() -> None:
    """An entry that gives the low side alone is passed over for the high one."""
    entries = [{"low": 5}, {"season": "06-10..06-10", "high": 20}, {"high": 10}]
    events = judged(plan([rule("band", high=30, limits=entries)]), [series("p", {0: 20.0, 10: 20.05})], 10)
    assert alarms(events) == [(10, "high", "unacknowledged")]


def test_a_side_without_a_limit_at_the_time_returns() -> None:
    """A high limit only until 12:01: the reading at 12:01 returns whatever it says."""
    limited = rule("band", limits=[{"hours": "12:00-12:01", "high": 25}])
    events = judged(plan([limited]), [series("p", {0: 27.0, 59.999: 27.0, 60: 27.0})], 100)
    assert alarms(events) == [(0, "high", "unacknowledged"), (60, "high", "returned")]


def test_the_events_carry_value_and_priority() -> None:
    """The value is the held one in the point's unit."""
    (event,) = judged(plan([rule("band", high=30, on_delay="15 s")]), [series("p", {0: 31.0, 10: 32.5})], 20)
    assert event.t == at(15)
    assert event.body == {
        "rule": "r",
        "side": "high",
        "was": "normal",
        "state": "unacknowledged",
        "priority": "high",
        "value": 32.5,
    }
