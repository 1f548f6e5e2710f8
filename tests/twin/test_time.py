"""Does the twin keep frontier, identity and holding as the meaning of the rules has them?"""

from __future__ import annotations

import pytest

from rules.events import Event
from rules.plan import Plan
from tests.twin.hand import START, Values, alarms, at, judged, off, plan, rule, series
from tests.twin.local_time import in_hours, in_season
from tests.twin.running_time import RunningTime
from tests.twin.twin import Twin


def test_what_is_newer_than_the_frontier_waits() -> None:
    """With a settle of 5 s a reading of 10 s is judged at now = 15 s and not a millisecond before."""
    twin = Twin(plan([rule("band", high=30)], settle=5000), START)
    assert twin.step([series("p", {10: 31.0})], [], at(14.999)) == []
    assert alarms(twin.step([], [], at(15))) == [(10, "high", "unacknowledged")]


def test_a_late_message_is_heard_in_its_place_within_the_settle_time() -> None:
    """A reading that arrives after a newer one, but before the frontier passes it, cancels the waiting."""
    twin = Twin(plan([rule("band", high=30, on_delay="4 s")], settle=5000), START)
    assert twin.step([series("p", {10: 31.0, 13: 31.0})], [], at(13)) == []
    assert twin.step([series("p", {12: 29.0})], [], at(16.999)) == []
    assert alarms(twin.step([], [], at(22))) == [(17, "high", "unacknowledged")]


def test_the_clock_may_go_back_and_nothing_is_judged_twice() -> None:
    """The frontier follows the largest now so far."""
    twin = Twin(plan([rule("band", high=30)]), START)
    assert len(twin.step([series("p", {10: 31.0})], [], at(20))) == 1
    assert twin.step([], [], at(5)) == []
    assert twin.frontier == at(20)


def test_a_reading_behind_the_frontier_holds_from_the_frontier_on() -> None:
    """Frontier 20 s, a reading of 15 s: marked behind, heard at 20.001 s."""
    twin = Twin(plan([rule("band", high=30)]), START)
    twin.step([series("p", {10: 29.0})], [], at(20))
    assert alarms(twin.step([series("p", {15: 31.0})], [], at(30))) == [(20.001, "high", "unacknowledged")]
    assert twin.inbox.behind == [("p", at(15))]


def test_a_reading_behind_that_is_not_the_newest_is_never_seen() -> None:
    """Older than one that was judged: nothing."""
    twin = Twin(plan([rule("band", high=30)]), START)
    twin.step([series("p", {10: 29.0})], [], at(20))
    assert twin.step([series("p", {5: 31.0})], [], at(30)) == []


def test_of_several_readings_behind_only_the_newest_is_heard() -> None:
    """Two behind at once: the newer one is within, the other is never seen."""
    twin = Twin(plan([rule("band", high=30)]), START)
    twin.step([series("p", {10: 29.0})], [], at(20))
    assert twin.step([series("p", {15: 31.0, 16: 29.0})], [], at(30)) == []


def test_a_reading_of_the_instant_itself_wins_over_one_behind() -> None:
    """At frontier + 1 ms a reading of that time is heard, not the one behind."""
    twin = Twin(plan([rule("band", high=30)]), START)
    twin.step([series("p", {10: 29.0})], [], at(20))
    assert twin.step([series("p", {15: 31.0, 20.001: 29.0})], [], at(30)) == []


def test_a_reading_behind_holds_no_longer_than_from_its_own_time() -> None:
    """Stale after 10 s: a reading of 15 s, heard at 20.001 s, is unknown at 25 s."""
    twin = Twin(plan([rule("silent")], stale_after=10), START)
    twin.step([series("p", {10: 29.0})], [], at(19))
    assert alarms(twin.step([series("p", {15: 29.0})], [], at(30))) == [(25, "silent", "unacknowledged")]


def test_a_reading_behind_keeps_its_own_time_in_a_window() -> None:
    """1 degC a minute all along: a reading of 60 s that is heard at 90.001 s makes no steeper slope, then or later."""
    made = plan([rule("rate", rise="1.01 degC/min", window="2 min", min_readings=2, min_span="60 s")])
    twin = Twin(made, START)
    assert twin.step([series("p", {0: 20.0})], [], at(90)) == []
    assert twin.step([series("p", {60: 21.0, 120: 22.0})], [], at(150)) == []


def test_a_reading_behind_that_is_already_stale_is_ignored() -> None:
    """Stale after 10 s: a reading of 5 s that comes when the frontier is at 20 s ends no silence."""
    twin = Twin(plan([rule("silent")], stale_after=10), START)
    assert alarms(twin.step([], [], at(20))) == [(10, "silent", "unacknowledged")]
    assert twin.step([series("p", {5: 29.0})], [], at(30)) == []


def test_a_reading_behind_that_becomes_stale_at_once_is_still_heard() -> None:
    """Stale after 10.001 s: a reading of 10 s heard at 20.001 s alarms, and is silent at the end of that instant."""
    made = plan([rule("band", high=30), rule("silent", id="quiet")], stale_after=10.001)
    twin = Twin(made, START)
    twin.step([], [], at(20))
    assert alarms(twin.step([series("p", {10: 31.0})], [], at(30))) == [
        (20.001, "high", "unacknowledged"),
        (20.001, "silent", "returned"),
        (20.001, "silent", "unacknowledged"),
    ]


def test_a_repeat_is_no_reading_and_the_first_value_stays() -> None:
    """The same again counts as a repeat, another value as a contradiction."""
    twin = Twin(plan([rule("band", high=30)]), START)
    assert twin.step([series("p", {10: 29.0}), series("p", {10: 29.0}), series("p", {10: 31.0})], [], at(20)) == []
    assert (twin.inbox.repeats, twin.inbox.contradicted) == (1, 1)


def test_a_reading_at_the_last_moment_is_in_time() -> None:
    """Stale after 10 s: the next reading after exactly 10 s leaves no gap, one a millisecond later does."""
    silent = plan([rule("silent")], stale_after=10)
    assert alarms(judged(silent, [series("p", {0: 20.0, 10: 20.0})], 19.999)) == []
    assert alarms(judged(silent, [series("p", {0: 20.0, 10.001: 20.0})], 15)) == [
        (10, "silent", "unacknowledged"),
        (10.001, "silent", "returned"),
    ]


def test_a_point_never_heard_counts_from_the_first_instant() -> None:
    """Silent at start + stale_after, and unknown to other rules before that."""
    assert alarms(judged(plan([rule("silent")], stale_after=10), [], 9.999)) == []
    assert alarms(judged(plan([rule("silent")], stale_after=10), [], 10)) == [(10, "silent", "unacknowledged")]


@pytest.mark.parametrize("flag", [3, 4, 9])
def test_an_unusable_reading_neither_ends_nor_renews_the_hold(flag: int) -> None:
    """31 still holds after an unusable 29, and time runs out from the 31."""
    rules = [rule("band", high=30, on_delay="5 s"), rule("silent", id="quiet")]
    blocks = [series("p", {0: 31.0}), series("p", {3: 29.0}, flag)]
    assert alarms(judged(plan(rules, stale_after=10), blocks, 15)) == [
        (5, "high", "unacknowledged"),
        (10, "silent", "unacknowledged"),
    ]


def test_a_suspect_reading_counts_where_the_point_says_so() -> None:
    """Flag 3 is heard with accept_suspect."""
    accepting = plan([rule("band", high=30)], accept_suspect=True)
    assert alarms(judged(accepting, [series("p", {0: 31.0}, 3)], 1)) == [(0, "high", "unacknowledged")]


def test_silence_does_not_count_while_the_daemon_was_off() -> None:
    """Last heard at 0, stale after 10 s, off from 4 s to 104 s: silent at 110 s."""
    events = judged(plan([rule("silent")], stale_after=10), [series("p", {0: 20.0})], 200, [off(4, 104)])
    assert alarms(events) == [(110, "silent", "unacknowledged")]


def test_running_time_leaves_out_overlapping_spans_once() -> None:
    """Of 0..100, spans 10..30, 20..40 and 40..50 leave 60; 30 from 5 on are due at 65; 5 from 5 on at 10."""
    running = RunningTime()
    for span in ((20, 40), (10, 30), (40, 50)):
        running.was_off(*span)
    assert (running.passed(0, 100), running.due(5, 30), running.due(5, 5), running.due(5, 6)) == (60, 75, 10, 51)


@pytest.mark.parametrize(
    ("hours", "minute_of_day", "inside"),
    [
        ("08:00-09:00", 479, False),
        ("08:00-09:00", 480, True),
        ("08:00-09:00", 539, True),
        ("08:00-09:00", 540, False),
        ("20:00-07:00", 1199, False),
        ("20:00-07:00", 1200, True),
        ("20:00-07:00", 419, True),
        ("20:00-07:00", 420, False),
    ],
)
def test_hours_run_from_the_first_to_before_the_second(hours: str, minute_of_day: int, inside: bool) -> None:
    """Also over midnight."""
    assert in_hours(hours, START - 12 * 3_600_000 + minute_of_day * 60_000, "UTC") is inside


def test_hours_are_local_and_follow_the_change_of_clocks() -> None:
    """On 29 March 2026 Dublin goes from 01:00 to 02:00: 00:59:59.999 UTC is outside 02:00-03:00, 01:00 UTC inside."""
    change = 1_774_746_000_000  # 2026-03-29T01:00:00Z
    assert [in_hours("02:00-03:00", change + ms, "Europe/Dublin") for ms in (-1, 0)] == [False, True]


@pytest.mark.parametrize(
    ("season", "inside"),
    [
        ("06-10..06-10", True),
        ("06-11..06-09", False),
        ("06-10..03-31", True),
        ("11-01..06-10", True),
        ("06-11..06-11", False),
    ],
)
def test_a_season_includes_both_of_its_days(season: str, inside: bool) -> None:
    """Also over New Year; the day is 10 June."""
    assert in_season(season, START, "UTC") is inside


def test_the_date_of_a_season_is_the_local_one() -> None:
    """At 23:30 UTC on 9 June it is the 10th in Dublin."""
    assert in_season("06-10..06-10", START - 12 * 3_600_000 - 1_800_000, "Europe/Dublin") is True


def _cut(made: Plan, values: Values, cuts: list[float]) -> list[Event]:
    twin = Twin(made, START)
    events = list(twin.step([series("p", values)], [], at(cuts[0])))
    for now in cuts[1:]:
        events += twin.step([], [], at(now))
    return events


def test_where_it_is_cut_does_not_matter() -> None:
    """One step or many: the same events."""
    made = plan([rule("band", high=30, on_delay="7 s", off_delay="3 s"), rule("silent", id="quiet")], stale_after=9)
    values = {0: 31.0, 4: 31.0, 9: 29.0, 30: 31.0}
    assert _cut(made, values, [60]) == _cut(made, values, [1, 3, 3.5, 7, 8, 12, 12, 20, 39, 60])
