"""Does a flood of alarms become one message, and is an alarm that comes and goes told once, with what to change?

Floods as ANSI/ISA-18.2-2016 defines them: more than 10 new alarms in 10 min until fewer than 5 are left. Chattering is
there 3 activations within a minute, here within an hour (common practice, no source).
"""

from __future__ import annotations

from collections import Counter
from typing import Any

from rules.acts import ActKind
from rules.messages import BODY_SIZE
from rules.plan import Plan
from rules.settings import RuleSettings
from tests.rules.told import (
    ANNA,
    BEN,
    HOUR,
    MINUTE,
    Values,
    acknowledged,
    act,
    high,
    judged,
    message,
    notices,
    person,
    rule,
    site,
    told,
)

TWELVE = [f"p{number}" for number in range(12)]


def many(count: int = 12, *, of: str = "medium", first: dict[str, Any] | None = None, **messages: Any) -> Plan:
    """So many points with an alarm each; `first` says more of the first."""
    more: dict[int, dict[str, Any]] = {0: first or {}}
    rules: list[RuleSettings] = [
        high(f"a{n}", f"p{n}", **{"priority": of, "title": f"Alarm {n}", **more.get(n, {})}) for n in range(count)
    ]
    return site(rules, points=[f"p{n}" for n in range(count)], **messages)


def one_a_second(count: int, begin: int = 0) -> Values:
    """The alarms come one after the other."""
    return {f"p{n}": {begin + n: 11} for n in range(count)}


def test_the_eleventh_alarm_in_ten_minutes_is_a_flood_and_makes_one_message() -> None:
    """At its instant, of all that were held so far; the single messages stop."""
    found = told(many(), one_a_second(12), 5 * MINUTE)
    assert [(seconds, purpose) for seconds, _, purpose, _ in found] == [(10, "summary")]


def test_ten_alarms_in_ten_minutes_are_no_flood() -> None:
    """Their messages were gathered, and come together as one."""
    found = told(many(10), one_a_second(10), 5 * MINUTE)
    assert [purpose for _, _, purpose, _ in found] == ["first"] * 10
    together = told(many(10), {f"p{n}": {0: 11} for n in range(10)}, 5 * MINUTE)
    assert [(seconds, purpose) for seconds, _, purpose, _ in together] == [(60, "summary")]


def test_an_eleventh_alarm_after_ten_minutes_is_no_flood() -> None:
    """The first has left the period when the last comes; a second earlier it has not."""
    values = {f"p{n}": {60 * n: 11} for n in range(10)}
    assert "summary" not in [p for _, _, p, _ in told(many(11), {**values, "p10": {600: 11}}, HOUR)]
    assert "summary" in [p for _, _, p, _ in told(many(11), {**values, "p10": {599: 11}}, HOUR)]


def test_the_summary_names_the_probable_cause_and_what_to_do_about_it_first() -> None:
    """The one that explains most; what it explains is suppressed and no part of the flood."""
    cause = {"title": "Pump has tripped", "do": "look at its plug.", "explains": ["a1"], "after": "1 h"}
    plan = many(13, first=cause)
    said = message(plan, one_a_second(13), 5 * MINUTE, purpose="summary").body
    assert said["title"] == "11 alarms at once: Pump has tripped"
    assert said["text"].startswith("Probably first: Pump has tripped, since 12:00. Also: Alarm 2; Alarm 3;")
    assert said["text"].endswith("First: look at its plug.")
    assert (said["rule"], said["priority"]) == ("a0", "medium")
    assert len(said["text"]) <= 240


def test_without_explanations_the_first_alarm_is_the_probable_cause() -> None:
    """The one active longest, ties by site order."""
    values = dict(one_a_second(12, 100))
    values["p7"] = {0: 11}
    assert message(many(), values, 5 * MINUTE, purpose="summary").body["rule"] == "a7"


def test_critical_alarms_are_told_singly_in_a_flood() -> None:
    """Repeats included; what is not critical keeps quiet meanwhile."""
    plan = many(12, first={"priority": "critical"})
    values = {**one_a_second(12), "p0": {0: 9, 30: 11}}
    assert [(s, p) for s, _, p, rule in told(plan, values, 6 * MINUTE) if rule == "a0" and p != "summary"] == [
        (30, "first"),
        (330, "repeat"),
    ]


def test_what_still_stands_untold_after_a_flood_is_told_then() -> None:
    """The flood that began at 10 s ends when fewer than five of its alarms are younger than ten minutes."""
    found = told(many(), one_a_second(12), 20 * MINUTE)
    assert found == [(10, "anna", "summary", "a0"), (607, "anna", "first", "a11")]


def test_a_flood_that_nobody_is_up_for_is_told_in_the_morning() -> None:
    """As one message, at the end of the quiet hours."""
    plan = many()
    sleeper = person("anna", quiet="11:00-13:00")
    plan = site(plan.rules, [sleeper], points=[p.id for p in plan.points])
    found = told(plan, one_a_second(12), 3 * HOUR)
    assert [(seconds, purpose) for seconds, _, purpose, _ in found] == [(HOUR, "summary")]


def test_more_than_three_messages_at_one_moment_become_one() -> None:
    """Three stay single; the limit can be set."""
    values = {f"p{n}": {0: 11} for n in range(4)}
    assert [p for _, _, p, _ in told(many(4), values, 120)] == ["summary"]
    assert [p for _, _, p, _ in told(many(3), dict(list(values.items())[:3]), 120)] == ["first"] * 3
    assert [p for _, _, p, _ in told(many(4, singly=4), values, 120)] == ["first"] * 4


def test_high_alarms_of_a_summary_are_repeated_and_those_acknowledged_are_not() -> None:
    """The repeat is single, and whoever heard of an alarm singly hears that it is over."""
    values: dict[str, dict[int, int | None]] = {f"p{n}": {0: 11, 2 * HOUR: 9} for n in range(4)}
    acts = [acknowledged(100, f"a{n}") for n in range(3)]
    assert told(many(4, of="high"), values, 3 * HOUR, acts) == [
        (60, "anna", "summary", "a0"),
        (HOUR + 60, "anna", "repeat", "a3"),
        (2 * HOUR, "anna", "recovery", "a3"),
    ]


def test_muted_alarms_do_not_appear_in_a_summary() -> None:
    """One of five is muted."""
    values = {f"p{n}": {1: 11} for n in range(5)}
    said = message(many(5), values, 120, [act(ActKind.MUTE, 0, "a2", HOUR)], purpose="summary").body
    assert "Alarm 2" not in said["text"]
    assert said["title"].startswith("4 alarms")


# --- chattering

FLUTTER: Values = {"p": {0: 11, 5: 7, 20: 11, 25: 7, 40: 11, 45: 7}}


def test_three_activations_within_an_hour_are_told_once_with_what_to_change() -> None:
    """Each was over within the gathering; the note says which settings would calm it."""
    plan = site([high("a", priority="medium", deadband=2, on_delay="1 s")])
    assert told(plan, FLUTTER, HOUR) == [(41, "anna", "chattering", "a")]
    said = message(plan, FLUTTER, HOUR, purpose="chattering").body
    assert said["title"] == "Comes and goes: p too high"
    assert said["text"] == (
        "3 times within 1 h. In a, widen deadband (now 2), or lengthen on_delay (now 1 s). "
        "Until it has rested for 30 min it is not told one by one."
    )


def test_an_alarm_without_a_deadband_is_calmed_by_its_delays() -> None:
    """The note names them."""
    both = rule("all_of", "both", rules=["a", "a"], priority="medium")
    plan = site([high("a", priority="log"), both])
    said = message(plan, FLUTTER, HOUR, purpose="chattering").body
    assert "In both, lengthen on_delay (now 0 s) or off_delay (now 0 s)." in said["text"]


def test_a_rule_may_say_itself_what_would_calm_it() -> None:
    """In place of its deadband and delays, with the values that it names."""
    plan = site([high("a", priority="medium", deadband=2, advice="Oil the vent ({q}).")])
    said = message(plan, {**FLUTTER, "q": {0: 9}}, HOUR, purpose="chattering").body
    assert said["text"].startswith("3 times within 1 h. Oil the vent (9.0 °C). Until it has rested")


RUNWAY = {"point": "q", "limit": 5, "loss": "2 degC/h", "harm": "fish are in danger"}


def test_a_critical_alarm_that_comes_and_goes_still_tells_its_value_and_how_long_there_is() -> None:
    """As its first message would; what calms it is told where there is room."""
    plan = site([high("a", title="Pump is hot: {value}", runway=RUNWAY, do="switch it off.")])
    said = message(plan, {**FLUTTER, "q": {0: 9}}, HOUR, purpose="chattering").body
    assert said["title"] == "Comes and goes: Pump is hot: 11.0 °C"
    assert said["text"] == (
        "p 11.0 °C since 12:00. Q 9.0 °C: about 2 h to 5.0, where fish are in danger, if it falls 2.0 an hour. "
        "3 times within 1 h. In a, widen deadband (now 0), or lengthen on_delay (now 0 s). First: switch it off."
    )
    long = high("a", runway=RUNWAY, do=("all the air on. " * 11).strip())
    said = message(site([long]), {**FLUTTER, "q": {0: 9}}, HOUR, purpose="chattering").body
    assert "Q 9.0 °C: about 2 h to 5.0." in said["text"]
    assert said["text"].endswith("First: " + ("all the air on. " * 11).strip())
    assert len(said["text"]) <= BODY_SIZE


def test_what_is_never_suppressed_names_its_cause_when_it_comes_and_goes() -> None:
    """As in every other message of it."""
    cause = high("a", "q", title="No power", explains=["o"])
    plan = site([cause, high("o", never_suppressed=True)])
    said = message(plan, {**FLUTTER, "q": {0: 11}}, HOUR, purpose="chattering").body
    assert "p 11.0 °C since 12:00. Cause: No power. 3 times within 1 h." in said["text"]


def test_two_activations_or_slower_ones_do_not_chatter() -> None:
    """The third comes a second more than an hour after the first; in time, it chatters."""
    slow: Values = {"p": {0: 11, 5: 9, 20: 11, 25: 9, HOUR + 1: 11, HOUR + 6: 9}}
    assert told(site([high("a", priority="medium")]), slow, 2 * HOUR) == []
    in_time: Values = {"p": {0: 11, 5: 9, 20: 11, 25: 9, HOUR: 11, HOUR + 6: 9}}
    assert told(site([high("a", priority="medium")]), in_time, 2 * HOUR) == [(HOUR, "anna", "chattering", "a")]


def test_a_contact_that_flickers_every_two_minutes_does_not_ring_a_phone_all_day() -> None:
    """With delays that let it through each time: twice told and taken back, one note, repeats until it has rested."""
    flickers = high("a", on_delay="20 s", off_delay="60 s")
    values: dict[int, int | None] = {}
    for n in range(45):
        values |= {120 * n: 11, 120 * n + 40: 9}
    counted = Counter(purpose for _, _, purpose, _ in told(site([flickers]), {"p": values}, 3 * HOUR))
    assert counted == {"first": 2, "recovery": 3, "chattering": 1, "repeat": counted["repeat"]}
    assert counted["repeat"] <= 90 / 5


def test_an_alarm_that_comes_every_seven_minutes_is_told_three_times_and_when_it_has_rested() -> None:
    """And once more after an hour, as any that is high."""
    comes = high("a", priority="high", on_delay="60 s", off_delay="5 min")
    values: dict[int, int | None] = {}
    for n in range(20):
        values |= {420 * n: 11, 420 * n + 100: 9}
    assert [p for _, _, p, _ in told(site([comes]), {"p": values}, 4 * HOUR)] == [
        "first", "recovery", "first", "recovery", "chattering", "repeat", "recovery",
    ]  # fmt: skip


def test_a_chattering_critical_alarm_is_not_told_again_and_again() -> None:
    """From the third activation on it is one alarm: one note, repeats, and one word when it has rested."""
    values: dict[int, int | None] = {}
    for n in range(20):
        values |= {20 * n: 11, 20 * n + 10: 9}
    found = told(site([high("a")]), {"p": values}, HOUR)
    assert found == [
        (0, "anna", "first", "a"),
        (10, "anna", "recovery", "a"),
        (20, "anna", "first", "a"),
        (30, "anna", "recovery", "a"),
        (40, "anna", "chattering", "a"),
        (340, "anna", "repeat", "a"),
        (2190, "anna", "recovery", "a"),
    ]


def test_the_next_person_is_told_of_a_chattering_alarm_in_time() -> None:
    """Its coming and going does not begin the waiting anew."""
    values: dict[int, int | None] = {0: 11}
    for n in range(1, 60):
        values |= {20 * n - 5: 9, 20 * n: 11}
    found = told(site([high("a")], [ANNA, BEN], repeat={}), {"p": values}, 15 * MINUTE)
    assert [(s, p) for s, who, p, _ in found if who == "ben"] == [(640, "next")]


def test_an_alarm_that_stands_after_chattering_is_told_to_who_heard_only_of_that() -> None:
    """It has rested in its alarm for half an hour."""
    values: Values = {"p": {0: 11, 5: 9, 20: 11, 25: 9, 40: 11}}
    assert told(site([high("a", priority="medium")]), values, HOUR) == [
        (40, "anna", "chattering", "a"),
        (1840, "anna", "first", "a"),
    ]


def test_chattering_waits_for_the_end_of_quiet_hours_and_of_a_mute() -> None:
    """Half an hour of rest later nobody needs to know any more."""
    sleeper = person("anna", quiet="11:00-12:05")
    plan = site([high("a", priority="medium")], [sleeper])
    assert told(plan, FLUTTER, HOUR) == [(300, "anna", "chattering", "a")]
    late = person("anna", quiet="11:00-12:35")
    assert told(site([high("a", priority="medium")], [late]), FLUTTER, HOUR) == []
    muted = [act(ActKind.MUTE, 0, "a", 200)]
    assert told(site([high("a", priority="medium")]), FLUTTER, HOUR, muted) == [(200, "anna", "chattering", "a")]


def test_what_counts_as_chattering_can_be_set() -> None:
    """Two in two minutes."""
    plan = site([high("a", priority="medium")], chattering=2, chattering_within="2 min", chattering_settled="1 min")
    values: Values = {"p": {0: 11, 5: 9, 120: 11, 125: 9}}
    assert [p for _, _, p, _ in told(plan, values, HOUR)] == ["chattering"]


def test_alarms_that_chatter_fill_no_log_with_messages() -> None:
    """A thousand activations make two messages."""
    values: dict[int, int | None] = {}
    for n in range(1000):
        values |= {20 * n: 11, 20 * n + 10: 9}
    events = notices(judged(site([high("a", priority="medium")]), {"p": values}, 7 * HOUR))
    assert [e.body["purpose"] for e in events] == ["chattering"]
