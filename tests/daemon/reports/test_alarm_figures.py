"""Are the figures of alarms those of the standard, and do findings say what is wrong and no more?"""

from __future__ import annotations

import datetime as dt
from html.parser import HTMLParser

from daemon.reports.figures import Activation, activations, figures, real
from daemon.reports.findings import findings, shown_span
from daemon.reports.page import report_page
from rules.durations import DAY, HOUR, MINUTE, SECOND
from rules.events import Event
from rules.local_time import Zone

START = 1_780_272_000_000
"""2026-06-01 00:00 UTC."""
UTC = Zone("UTC")


def change(
    t: int, was: str, state: str, since: int, rule: str = "air.hot", priority: str = "high", why: str = "over 30"
) -> Event:
    """An alarm changes."""
    body = {"rule": rule, "side": "high", "was": was, "state": state, "priority": priority, "since": since, "why": why}
    return Event(t, "alarm", body)


def passing(t: int, lasts: int, rule: str = "air.hot", priority: str = "high") -> list[Event]:
    """An alarm that nobody sees: it comes and goes, and is back to normal when it comes again."""
    return [
        change(t, "normal", "unacknowledged", t, rule, priority),
        change(t + lasts, "unacknowledged", "returned", t, rule, priority),
    ]


def seen(t: int, after: int, lasts: int, rule: str = "air.hot", priority: str = "high") -> list[Event]:
    """An alarm that somebody acknowledges."""
    return [
        change(t, "normal", "unacknowledged", t, rule, priority),
        change(t + after, "unacknowledged", "acknowledged", t, rule, priority, "by anna"),
        change(t + lasts, "acknowledged", "normal", t, rule, priority, "back to normal"),
    ]


def test_an_activation_is_told_from_its_changes() -> None:
    """When it came, when somebody saw it, when it was over."""
    (one,) = activations(seen(START, 5 * MINUTE, HOUR))
    assert one == Activation("air.hot (high)", "high", START, START + HOUR, START + 5 * MINUTE, True)
    (one,) = activations(passing(START, HOUR))
    assert one == Activation("air.hot (high)", "high", START, START + HOUR)


def test_one_that_is_announced_again_is_the_same_activation() -> None:
    """After a suppression, or as a reminder: its `since` is the same."""
    found = activations(
        [
            change(START, "normal", "unacknowledged", START),
            change(START + 1000, "unacknowledged", "suppressed", START, why="explained by power"),
            change(START + 9000, "suppressed", "unacknowledged", START),
            change(START + 20_000, "unacknowledged", "returned", START),
            change(START + 30_000, "returned", "unacknowledged", START + 25_000),
        ]
    )
    assert [one.raised for one in found] == [START, START + 30_000]


def test_acknowledging_what_has_returned_counts_as_seen() -> None:
    """It goes from returned to normal by a person."""
    events = [*passing(START, MINUTE), change(START + HOUR, "returned", "normal", START, why="by anna: by link")]
    (one,) = activations(events)
    assert (one.ended, one.seen, one.acted) == (START + MINUTE, START + HOUR, True)


def test_shelving_is_acting_and_not_seeing() -> None:
    """Somebody dealt with it."""
    events = [
        change(START, "normal", "unacknowledged", START),
        change(START + 60_000, "unacknowledged", "shelved", START, why="by anna: cleaning"),
    ]
    (one,) = activations(events)
    assert (one.seen, one.acted, one.ended) == (None, True, START + 60_000)


def test_rates_and_floods_are_the_worked_example() -> None:
    """New alarms by 10 min [2, 3, 12, 14, 9, 6, 4, 1, 0, 11, 5, 5, 3]: floods (2, 6) and (9, 12), 3 of 13 over.

    Source: worked out by the definition of ANSI/ISA-18.2-2016 as in the project's table of reference checks.
    """
    events: list[Event] = []
    for index, count in enumerate([2, 3, 12, 14, 9, 6, 4, 1, 0, 11, 5, 5, 3]):
        for number in range(count):
            events += passing(START + index * 10 * MINUTE + number * SECOND, 100 * SECOND, rule=f"r{index}.n{number}")
    events.sort(key=lambda event: event.t)
    told = figures(events, START, START + 130 * MINUTE, UTC)
    assert told.floods == [
        (START + 20 * MINUTE, START + 60 * MINUTE),
        (START + 90 * MINUTE, START + 120 * MINUTE),
    ]
    assert (told.rates.over, told.rates.periods, told.rates.peak) == (3, 13, 14)
    assert round(told.rates.mean, 4) == 5.7692


def test_what_was_raised_before_counts_as_standing_and_not_as_new() -> None:
    """A stale alarm from the week before."""
    told = figures([change(START - 3 * DAY, "normal", "unacknowledged", 1)], START, START + DAY, UTC)
    assert told.new == ()
    assert told.stale == [("air.hot (high)", 4 * DAY)]
    gone = figures(passing(START - 3 * DAY, 2 * DAY), START, START + DAY, UTC)
    assert gone.stale == []


def test_stale_is_longer_than_a_day_and_not_a_day() -> None:
    """To the millisecond."""
    assert figures(passing(START, DAY), START, START + 3 * DAY, UTC).stale == []
    assert figures(passing(START, DAY + 1), START, START + 3 * DAY, UTC).stale == [("air.hot (high)", DAY + 1)]


def test_fleeting_is_over_within_a_minute_with_nobody_acting() -> None:
    """At a minute it is none; one that somebody acknowledged at once was no such thing."""
    events = [*passing(START, MINUTE - 1), *passing(START + HOUR, MINUTE), *seen(START + 2 * HOUR, 1000, 2000)]
    assert figures(events, START, START + DAY, UTC).fleeting == [("air.hot (high)", 1, 3)]


def test_chattering_is_three_within_a_minute() -> None:
    """Activations at 0, 100, 130, 150 s chatter (150 - 100 <= 60); at 0, 70, 140, 210 s they do not (worked)."""
    for seconds, expected in (((0, 100, 130, 150), ["air.hot (high)"]), ((0, 70, 140, 210), [])):
        events = [event for second in seconds for event in passing(START + second * SECOND, SECOND)]
        assert figures(events, START, START + DAY, UTC).chattering == expected


def test_alarms_of_a_drill_are_no_alarms_of_the_figures() -> None:
    """Of the drill's rules alone, and up to its end, also an early one; before and after it they count."""

    def drill(t: int, until: int, **more: str) -> Event:
        return Event(t, "act", {"kind": "drill", "until": until, **more})

    acts = [
        drill(START + 10 * MINUTE, START + 40 * MINUTE, rules="air.hot,bed.full"),
        drill(START + 20 * MINUTE, START + 20 * MINUTE),
        drill(START + 50 * MINUTE, START + 9 * HOUR, refused="drill may last 4 h at most"),
    ]
    events = [event for minute in (5, 10, 15, 20, 55) for event in passing(START + minute * MINUTE, SECOND)]
    events += passing(START + 15 * MINUTE, SECOND, "water.stopped")
    events.sort(key=lambda event: event.t)
    raised = [((one.raised - START) // MINUTE, one.alarm) for one in activations(real(events, acts))]
    hot = "air.hot (high)"
    assert raised == [(5, hot), (15, "water.stopped (high)"), (20, hot), (55, hot)]
    assert len(activations(real(events, acts, {"air.hot"}))) == 6


def drilled(begin: int, until: int, **more: str) -> Event:
    """A drill is ordered, in minutes."""
    return Event(START + begin * MINUTE, "act", {"kind": "drill", "until": START + until * MINUTE, **more})


def test_an_alarm_that_still_stands_when_its_drill_ends_is_real_from_then_on() -> None:
    """Acknowledging it in the drill answered the drill. What is over in that instant was the drill's."""
    acts = [drilled(0, 30), drilled(20, 20)]
    stood = seen(START + 10 * MINUTE, MINUTE, 50 * MINUTE)
    over = passing(START + 10 * MINUTE, 10 * MINUTE, "bed.full")
    stands = [change(START + 12 * MINUTE, "normal", "unacknowledged", START + 12 * MINUTE, "tank.cold")]
    events = sorted([*stood, *over, *stands], key=lambda event: event.t)
    raised = START + 20 * MINUTE
    assert activations(real(events, acts)) == [
        Activation("air.hot (high)", "high", raised, START + HOUR),
        Activation("tank.cold (high)", "high", raised),
    ]
    times = [event.t for event in real(events, acts)]
    assert times == sorted(times)


def test_a_drill_that_goes_on_by_another_order_ends_with_the_last() -> None:
    """Ordered anew while it runs, also of other rules; after a pause it is another drill."""
    stands = [change(START + 10 * MINUTE, "normal", "unacknowledged", START + 10 * MINUTE)]
    for acts, end in (
        ([drilled(0, 30), drilled(25, 50, rules="bed.full"), drilled(70, 90)], 50),
        ([drilled(0, 30), drilled(30, 50)], 50),
        ([drilled(0, 30), drilled(31, 50)], 30),
    ):
        assert [(one.raised - START) // MINUTE for one in activations(real(stands, acts))] == [end]


def test_days_are_local_and_those_without_alarms_are_there() -> None:
    """23:30 UTC is the next day in Dublin's summer."""
    told = figures(passing(START + 23 * HOUR + 30 * MINUTE, MINUTE), START, START + 3 * DAY, Zone("Europe/Dublin"))
    assert told.by_day == {
        dt.date(2026, 6, 1): 0,
        dt.date(2026, 6, 2): 1,
        dt.date(2026, 6, 3): 0,
        dt.date(2026, 6, 4): 0,
    }


def test_times_to_acknowledge_are_told_by_priority() -> None:
    """Half within, and the longest; those that nobody saw are in the count."""
    events = [
        *seen(START, 2 * MINUTE, HOUR, "a", "critical"),
        *seen(START + 1, 10 * MINUTE, HOUR, "b", "critical"),
        *seen(START + 2, 40 * MINUTE, HOUR, "c", "critical"),
        *passing(START + 3, HOUR, "d", "critical"),
    ]
    events.sort(key=lambda event: event.t)
    (answer,) = figures(events, START, START + DAY, UTC).answers
    assert (answer.activations, answer.seen) == (4, 3)
    assert (answer.typical, answer.longest) == (10 * MINUTE, 40 * MINUTE)


def test_an_alarm_is_ignored_only_if_nobody_ever_acted_on_it() -> None:
    """One acknowledgement of many is enough."""
    events = [*passing(START, MINUTE, "a"), *passing(START + HOUR, MINUTE, "b"), *seen(START + 2 * HOUR, 9, 99, "b")]
    assert figures(events, START, START + DAY, UTC).ignored == [("a (high)", 1)]


def verdicts(events: list[Event], days: int = 1) -> dict[str, bool | None]:
    """name -> whether it is as it should be."""
    return {one.name: one.well for one in findings(figures(events, START, START + days * DAY, UTC), UTC)}


def test_a_span_without_alarms_asks_for_nothing() -> None:
    """Nothing to judge, or as it should be."""
    assert False not in verdicts([]).values()


def test_a_day_at_the_benchmark_is_well_and_above_it_not() -> None:
    """150 new alarms a day, and one more."""
    events = [event for n in range(151) for event in passing(START + n * 9 * MINUTE, 2 * MINUTE, f"r{n}", "low")]
    assert verdicts(events[:300])["Alarms a day"] is True
    assert verdicts(events)["Alarms a day"] is False


def test_few_alarms_are_not_judged_by_shares() -> None:
    """One of three is a third, and says nothing."""
    events = [event for n in range(3) for event in seen(START + n * HOUR, MINUTE, 2 * MINUTE, f"r{n}")]
    told = verdicts(events)
    assert told["Ten most frequent"] is None
    assert told["Priorities"] is None


def test_every_figure_that_asks_for_a_look_says_what_to_do() -> None:
    """And those that have nothing to show are silent."""
    events = [event for n in range(40) for event in passing(START + n * 5 * SECOND, SECOND, priority="critical")]
    found = findings(figures(events, START, START + 2 * HOUR, UTC), UTC)
    assert {one.name for one in found if one.well is False} >= {"Chattering", "Fleeting", "Floods", "Never acted on"}
    for one in found:
        if one.well is False:
            assert one.advice, one.name
        elif not one.rows:
            assert not one.advice, one.name


def test_what_comes_and_goes_is_told_what_suits_its_signal() -> None:
    """The deadband and delays suggested for such signals, with their source; nothing for signals that have none."""
    events = [e for n in range(4) for e in passing(START + n * 15 * SECOND, 5 * SECOND)]
    told = figures(events, START, START + DAY, UTC)
    by_name = {one.name: one for one in findings(told, UTC, {"air.hot": "air_temperature"})}
    for name in ("Chattering", "Fleeting"):
        assert by_name[name].advice.endswith(
            "To begin with (EEMUA 191, as quoted): temperature: deadband 1 % of the range, delays of 1 min."
        )
    assert "EEMUA" not in "".join(one.advice for one in findings(told, UTC, {"air.hot": "state"}))


class Page(HTMLParser):
    """Checks that tags close, and keeps what a browser would load."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.loads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """As HTMLParser."""
        if tag not in ("meta",):
            self.open.append(tag)
        self.loads += [value or "" for name, value in attrs if name in ("src", "href")]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """As HTMLParser."""

    def handle_endtag(self, tag: str) -> None:
        """As HTMLParser."""
        assert self.open.pop() == tag


def test_the_page_is_one_file_that_loads_nothing() -> None:
    """Whole, with what is in names shown as text."""
    events = [event for n in range(40) for event in passing(START + n * 5 * SECOND, SECOND)]
    told = figures(events, START, START + DAY, UTC)
    text = report_page("Alder & <Lane>", told, findings(told, UTC), UTC)
    page = Page()
    page.feed(text)
    assert (page.open, page.loads) == ([], [])
    assert "http" not in text
    assert "Alder &amp; &lt;Lane&gt;" in text


def test_spans_are_shown_in_one_unit() -> None:
    """Seconds, minutes, hours, days."""
    spans = (30 * SECOND, MINUTE, 100 * MINUTE, 5 * HOUR, 47 * HOUR, 3 * DAY)
    assert [shown_span(ms) for ms in spans] == ["30 s", "1 min", "100 min", "5 h", "47 h", "3 d"]
