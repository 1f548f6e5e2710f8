"""Is what is not told singly listed once a day, and does a daily word say that all is watched?"""

from __future__ import annotations

from rules.acts import Act, ActKind
from rules.engine import Engine
from rules.plan import Plan
from tests.rules.told import HOUR, Values, at, high, judged, message, notices, person, rule, site, told

READER = person("anna", digest="18:00", priorities=["critical"])
DAY = 24 * HOUR


def listing(plan: Plan, values: Values, until: float) -> list[tuple[float, str]]:
    """Each digest's text."""
    start = at(0)
    events = notices(judged(plan, values, until))
    return [((e.t - start) / 1000, e.body["text"]) for e in events if e.body["purpose"] == "digest"]


def test_low_alarms_are_listed_once_a_day_at_the_persons_time() -> None:
    """With how often each came and whether it still stands; a day without any makes no message."""
    plan = site([high("a", priority="low", title="Air is cool: {value}"), high("b", "q", priority="low")], [READER])
    values: Values = {"p": {0: 11, 60: 9, 120: 11, 180: 9}, "q": {600: 11}}
    assert listing(plan, values, 3 * DAY) == [(6 * HOUR, "Air is cool (2); q too high (1, still on).")]
    said = message(plan, values, 3 * DAY, purpose="digest").body
    assert said["title"] == "Alder Lane: 3 since 12:00"
    assert (said["rule"], said["side"], said["priority"]) == (None, None, "low")


def test_what_a_person_is_told_singly_is_not_in_their_digest() -> None:
    """Each alarm reaches them once."""
    plan = site([high("a", priority="medium")], [person("anna", digest="18:00")])
    assert [purpose for _, _, purpose, _ in told(plan, {"p": {0: 11}}, DAY)] == ["first"]


def test_an_alarm_at_the_instant_of_the_digest_belongs_to_the_next() -> None:
    """Nothing falls between two digests, nothing into both."""
    plan = site([high("a", priority="low"), high("b", "q", priority="low")], [READER])
    values: Values = {"p": {6 * HOUR - 1: 11}, "q": {6 * HOUR: 11}}
    assert listing(plan, values, 2 * DAY) == [
        (6 * HOUR, "p too high (1, still on)."),
        (30 * HOUR, "q too high (1, still on)."),
    ]


def test_a_long_digest_says_how_many_more_there_are() -> None:
    """As many as fit on a lock screen."""
    rules = [high(f"a{n}", f"p{n}", priority="low", title=f"The air in corner {n} is cool") for n in range(20)]
    plan = site(rules, [READER], points=[f"p{n}" for n in range(20)])
    text = listing(plan, {f"p{n}": {n: 11} for n in range(20)}, DAY)[0][1]
    assert text.startswith("The air in corner 0 is cool (1, still on); ")
    assert text.endswith("; 15 more.")
    assert len(text) <= 240


def test_a_daily_word_says_that_all_is_watched() -> None:
    """How many points speak, which alarms stand, and what the keeper wants to know besides."""
    plan = site(
        [high("a", title="Air is hot: {value}")],
        [person("anna", sign_of_life="07:30")],
        sign_of_life="Air {p}, floor {w}",
    )
    said = [e.body for e in notices(judged(plan, {"p": {0: 9}, "q": {0: 9}}, 2 * DAY))]
    assert [(body["purpose"], body["title"]) for body in said] == [("sign-of-life", "Alder Lane is watched")] * 2
    assert said[0]["text"] == "2 of 3 points speak. No alarm stands. Air 9.0 °C, floor no reading."
    standing = message(plan, {"p": {0: 11}}, DAY, purpose="sign-of-life").body["text"]
    assert standing.startswith("1 of 3 points speak. Alarms: Air is hot.")


def test_the_daily_word_comes_at_the_same_local_time_when_clocks_change() -> None:
    """Dublin, the week-end of 25 October 2026: 07:30 is 06:30 UTC before and 07:30 UTC after."""
    plan = site([], [person("anna", sign_of_life="07:30")], timezone="Europe/Dublin")
    start = 1_792_800_000_000  # 2026-10-24T00:00Z
    events = Engine(plan, start).step([], [], start + 3 * DAY * 1000)
    assert [(e.t - start) / 1000 / HOUR for e in events] == [6.5, 24 + 7.5, 48 + 7.5]


def test_a_daily_word_that_was_due_while_nothing_ran_comes_when_it_runs_again() -> None:
    """Nobody could say so before; the next one is in its time."""
    plan = site([rule("silent", "s", point="p")], [person("anna", sign_of_life="18:00")])
    off = Act(at(5 * HOUR), ActKind.OFF, "tidebed", until=at(8 * HOUR))
    assert [s for s, *_ in told(plan, {"p": {0: 1}}, 40 * HOUR, [off])] == [8 * HOUR, 30 * HOUR]


def test_a_new_time_of_day_counts_from_the_reload_on() -> None:
    """The old one is forgotten, and nothing is told for times before it."""
    engine = Engine(site([], [person("anna", sign_of_life="18:00")]), at(0))
    engine.step([], [], at(HOUR))
    later = Engine.restore(site([], [person("anna", sign_of_life="11:00", digest="11:30")]), engine.state())
    events = later.step([], [], at(DAY))
    assert [(e.t, e.body["purpose"]) for e in events] == [(at(23 * HOUR), "sign-of-life")]
