"""Is each person told in their turn, by their ways, in their hours, again until somebody acknowledges?

Repeats every 5 min, the second person at 10 min and quiet hours by priority are common practice, no source.
"""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from rules.acts import ActKind
from rules.people import PersonSettings
from tests.rules.told import (
    ANNA,
    BEN,
    HOUR,
    MINUTE,
    acknowledged,
    act,
    at,
    high,
    judged,
    message,
    notices,
    person,
    rule,
    site,
    told,
)

HOT = {"p": {0: 11}}
NIGHT = person("anna", quiet="13:00-15:00")
BRIEF = {"p": {0: 11, 90: 9}}


def test_a_critical_alarm_is_told_at_once_and_every_five_minutes_until_acknowledged() -> None:
    """The acknowledgement ends it."""
    assert told(site([high("a")]), HOT, HOUR, [acknowledged(12 * MINUTE)]) == [
        (0, "anna", "first", "a"),
        (5 * MINUTE, "anna", "repeat", "a"),
        (10 * MINUTE, "anna", "repeat", "a"),
    ]


def test_an_acknowledgement_at_the_instant_of_a_repeat_comes_before_it() -> None:
    """Acts come first within an instant; a millisecond later is too late."""
    plan = site([high("a")])
    assert told(plan, HOT, HOUR, [acknowledged(5 * MINUTE)]) == [(0, "anna", "first", "a")]
    assert len(told(plan, HOT, HOUR, [acknowledged(5 * MINUTE + 0.001)])) == 2


def test_a_high_alarm_is_told_once_and_again_after_an_hour() -> None:
    """Gathered for a minute; one repeat and no more."""
    assert told(site([high("a", priority="high")]), HOT, 5 * HOUR) == [
        (MINUTE, "anna", "first", "a"),
        (HOUR + MINUTE, "anna", "repeat", "a"),
    ]


def test_a_medium_alarm_is_told_once() -> None:
    """There is no repeat where none is set."""
    assert told(site([high("a", priority="medium")]), HOT, 24 * HOUR) == [(MINUTE, "anna", "first", "a")]


def test_repeats_can_be_set_and_counted() -> None:
    """Every two minutes, twice."""
    plan = site([high("a")], repeat={"critical": "2 min"}, repeat_at_most={"critical": 2})
    assert [seconds for seconds, *_ in told(plan, HOT, HOUR)] == [0, 120, 240]


def test_nothing_repeats_where_the_keeper_wants_none() -> None:
    """A repeat of no length is none."""
    assert len(told(site([high("a")], repeat={"critical": "0 s"}), HOT, HOUR)) == 1


def test_the_next_person_is_told_when_nobody_acknowledges() -> None:
    """Ten minutes after the first message; both hear the repeats from then on."""
    plan = site([high("a")], [ANNA, BEN], repeat={"critical": "8 min"})
    assert told(plan, HOT, 20 * MINUTE) == [
        (0, "anna", "first", "a"),
        (8 * MINUTE, "anna", "repeat", "a"),
        (10 * MINUTE, "ben", "next", "a"),
        (16 * MINUTE, "anna", "repeat", "a"),
        (18 * MINUTE, "ben", "repeat", "a"),
    ]


def test_the_next_person_is_not_told_of_what_somebody_has_seen() -> None:
    """Acknowledged in time."""
    assert told(site([high("a")], [ANNA, BEN]), HOT, HOUR, [acknowledged(60)]) == [(0, "anna", "first", "a")]


def test_where_nobody_is_first_the_turn_counts_from_the_alarm() -> None:
    """Only Ben is there."""
    assert told(site([high("a")], [BEN]), HOT, 12 * MINUTE) == [(10 * MINUTE, "ben", "next", "a")]


def test_everyone_who_heard_of_it_hears_that_it_is_over() -> None:
    """Who wants no such word gets none, and who was not told neither."""
    silent = person("cleo", recoveries=False)
    plan = site([high("a")], [ANNA, BEN, silent], repeat={})
    values = {"p": {0: 11, 15 * MINUTE: 9}}
    assert told(plan, values, HOUR)[-2:] == [
        (15 * MINUTE, "anna", "recovery", "a"),
        (15 * MINUTE, "ben", "recovery", "a"),
    ]
    assert told(plan, {"p": {0: 11, 60: 9}}, HOUR)[-1] == (60, "anna", "recovery", "a")


def test_a_person_is_told_only_of_their_priorities() -> None:
    """And by no one's way but theirs."""
    plan = site([high("a"), high("b", "q", priority="medium")], [person("anna", priorities=["medium"])])
    assert told(plan, {"p": {0: 11}, "q": {0: 11}}, HOUR) == [(60, "anna", "first", "b")]


def test_a_loud_way_is_used_for_what_is_critical_alone() -> None:
    """The message says by which ways it goes."""
    anna = person("anna", ways_for={"critical": ["anna_siren", "anna_phone"]})
    events = notices(
        judged(site([high("a"), high("b", "q", priority="high")], [anna]), {"p": {0: 11}, "q": {0: 11}}, 70)
    )
    assert [(e.body["rule"], e.body["ways"]) for e in events] == [
        ("a", ["anna_siren", "anna_phone"]),
        ("b", ["anna_phone"]),
    ]


# --- gathering


def test_a_message_that_is_not_critical_waits_for_a_minute() -> None:
    """Over within it, nobody is told; over after it, both messages come."""
    plan = site([high("a", priority="high")])
    assert told(plan, {"p": {0: 11, 59: 9}}, HOUR) == []
    assert told(plan, BRIEF, HOUR) == [(60, "anna", "first", "a"), (90, "anna", "recovery", "a")]


def test_one_that_is_explained_within_the_minute_is_not_told() -> None:
    """Only the cause is, and the effect not even after it."""
    plan = site([high("effect", priority="high"), high("cause", "q", explains=["effect"])])
    assert told(plan, {"p": {0: 11}, "q": {50: 11}}, 2 * MINUTE) == [(50, "anna", "first", "cause")]


def test_a_critical_one_is_never_gathered() -> None:
    """However long the others wait."""
    assert told(site([high("a")], gather="10 min"), HOT, 60) == [(0, "anna", "first", "a")]


def test_one_that_was_explained_for_a_while_is_not_told_twice() -> None:
    """It was told before, was suppressed, and speaks again."""
    plan = site([high("effect"), high("cause", "q", explains=["effect"])], repeat={})
    values = {"p": {0: 11, 300: 9}, "q": {100: 11, 200: 9}}
    assert told(plan, values, HOUR) == [
        (0, "anna", "first", "effect"),
        (100, "anna", "first", "cause"),
        (200, "anna", "recovery", "cause"),
        (300, "anna", "recovery", "effect"),
    ]


def test_one_that_was_told_and_then_explained_is_told_to_be_over() -> None:
    """Its return while suppressed ends what was said of it."""
    plan = site([high("effect"), high("cause", "q", explains=["effect"])], repeat={})
    assert told(plan, {"p": {0: 11, 200: 9}, "q": {100: 11}}, 300)[-1] == (200, "anna", "recovery", "effect")


def test_what_was_shelved_and_still_stands_is_told_again_as_a_repeat() -> None:
    """Its shelving has ended: a reminder, once."""
    plan = site([high("a", priority="medium")])
    acts = [act(ActKind.SHELVE, 100, "a", 1000)]
    assert told(plan, HOT, HOUR, acts) == [(60, "anna", "first", "a"), (1000, "anna", "repeat", "a")]


def test_a_reminder_waits_for_the_end_of_quiet_hours() -> None:
    """The shelving ended within them."""
    plan = site([high("a", priority="medium")], [NIGHT])
    acts = [act(ActKind.SHELVE, 100, "a", 2 * HOUR)]
    assert told(plan, HOT, 4 * HOUR, acts) == [(60, "anna", "first", "a"), (3 * HOUR, "anna", "repeat", "a")]


def test_what_ended_while_it_was_shelved_is_not_spoken_of() -> None:
    """Whoever shelved it knows."""
    plan = site([high("a")], repeat={})
    acts = [act(ActKind.SHELVE, 10, "a", 100)]
    assert told(plan, {"p": {0: 11, 50: 9}}, HOUR, acts) == [(0, "anna", "first", "a")]


# --- critical oxygen speaks beside its cause


def test_what_is_never_suppressed_counts_as_a_repeat_of_its_cause() -> None:
    """Anna has heard of the cause; the cause itself keeps quiet as long as its effect speaks for it."""
    stopped = high("stopped", "q", explains=["oxygen"])
    plan = site([stopped, high("oxygen", never_suppressed=True)])
    assert told(plan, {"q": {0: 11}, "p": {200: 11}}, 900) == [
        (0, "anna", "first", "stopped"),
        (200, "anna", "repeat", "oxygen"),
        (500, "anna", "repeat", "oxygen"),
        (800, "anna", "repeat", "oxygen"),
    ]


def test_what_is_never_suppressed_is_a_first_message_to_who_has_not_heard_of_its_cause() -> None:
    """The cause is out of Anna's priorities."""
    stopped = high("stopped", "q", explains=["oxygen"], priority="low")
    plan = site([stopped, high("oxygen", never_suppressed=True)], repeat={})
    assert told(plan, {"q": {0: 11}, "p": {200: 11}}, 900) == [(200, "anna", "first", "oxygen")]


def test_the_message_of_what_is_never_suppressed_names_its_cause() -> None:
    """To the next person too."""
    stopped = high("stopped", "q", explains=["oxygen"], title="Water has stopped", after="1 h")
    plan = site([stopped, high("oxygen", never_suppressed=True)], [ANNA, BEN], repeat={})
    events = notices(judged(plan, {"q": {0: 11}, "p": {200: 11}}, 900))
    of_oxygen = [e for e in events if e.body["rule"] == "oxygen"]
    assert [e.body["person"] for e in of_oxygen] == ["anna", "ben"]
    assert all("Cause: Water has stopped." in e.body["text"] for e in of_oxygen)


def test_a_cause_that_is_over_by_now_is_not_said_to_go_on() -> None:
    """Water runs again, and oxygen is still low: whoever was told that it is over reads when that was."""
    stopped = high("stopped", "q", explains=["oxygen"], title="Water has stopped", after="1 h")
    plan = site([stopped, high("oxygen", never_suppressed=True)])
    events = notices(judged(plan, {"q": {0: 11, 400: 9}, "p": {200: 11}}, 900))
    said = [e.body["text"] for e in events if e.body["rule"] == "oxygen"]
    assert ["Cause: Water has stopped, over since 12:06." in text for text in said] == [False, True, True]


def test_the_cause_that_is_named_is_the_first_of_several() -> None:
    """No power stops the water, which takes the oxygen: power is what the person was told of, and what is to mend."""
    power = high("power", "w", explains=["stopped"], title="No power")
    stopped = high("stopped", "q", explains=["oxygen"], title="Water has stopped")
    plan = site([high("oxygen", never_suppressed=True), stopped, power], repeat={})
    events = notices(judged(plan, {"w": {0: 11}, "q": {0: 11}, "p": {200: 11}}, 250))
    assert [e.body["text"].count("Cause: No power.") for e in events if e.body["rule"] == "oxygen"] == [1]


# --- quiet hours; the site's clock is UTC, the start is noon


def test_a_message_waits_for_the_end_of_quiet_hours() -> None:
    """Told then, since it still stands; at 13:00 they have begun, at 15:00 they are over."""
    plan = site([high("a", priority="medium")], [NIGHT])
    assert told(plan, {"p": {HOUR: 11}}, 4 * HOUR) == [(3 * HOUR, "anna", "first", "a")]
    assert told(plan, {"p": {HOUR - 60: 11}}, 4 * HOUR) == [(3 * HOUR, "anna", "first", "a")]
    assert told(plan, {"p": {HOUR - 61: 11}}, 4 * HOUR) == [(HOUR - 1, "anna", "first", "a")]


def test_what_is_over_by_the_end_of_quiet_hours_is_not_told() -> None:
    """Nor that it is over."""
    plan = site([high("a", priority="medium")], [NIGHT])
    assert told(plan, {"p": {HOUR: 11, 2 * HOUR: 9}}, 4 * HOUR) == []


def test_critical_breaks_through_quiet_hours_and_its_recovery_too() -> None:
    """High does where the person says so."""
    values = {"p": {2 * HOUR: 11, 2 * HOUR + 90: 9}}
    assert told(site([high("a")], [NIGHT]), values, 4 * HOUR) == [
        (2 * HOUR, "anna", "first", "a"),
        (2 * HOUR + 90, "anna", "recovery", "a"),
    ]
    through = person("anna", quiet="13:00-15:00", quiet_passes=["high"])
    assert told(site([high("a", priority="high")], [through]), values, 4 * HOUR)[0][0] == 2 * HOUR + 60


def test_the_word_that_it_is_over_waits_for_the_end_of_quiet_hours_too() -> None:
    """It was told before they began, and says when it was over."""
    plan = site([high("a", priority="medium")], [NIGHT])
    values = {"p": {0: 11, 2 * HOUR: 9}}
    assert told(plan, values, 4 * HOUR)[-1] == (3 * HOUR, "anna", "recovery", "a")
    assert "Back to normal at 14:00" in message(plan, values, 4 * HOUR, purpose="recovery").body["text"]


def test_a_recovery_that_waits_is_dropped_when_the_alarm_is_back() -> None:
    """What is told at the end of the quiet hours is that it stands."""
    plan = site([high("a", priority="medium")], [NIGHT])
    values = {"p": {0: 11, 2 * HOUR: 9, 2 * HOUR + 600: 11}}
    assert told(plan, values, 4 * HOUR) == [(60, "anna", "first", "a"), (3 * HOUR, "anna", "first", "a")]


def test_the_next_person_waits_until_the_first_has_been_told() -> None:
    """The first one's quiet hours say that it can wait, so the neighbour is not called for it."""
    plan = site([high("a", priority="high")], [NIGHT, BEN])
    assert told(plan, {"p": {2 * HOUR: 11}}, 4 * HOUR)[:2] == [
        (3 * HOUR, "anna", "first", "a"),
        (3 * HOUR + 600, "ben", "next", "a"),
    ]


def test_acknowledged_during_quiet_hours_is_not_told_at_their_end() -> None:
    """Somebody has seen it on the screen."""
    plan = site([high("a", priority="medium")], [NIGHT])
    assert told(plan, {"p": {HOUR: 11}}, 4 * HOUR, [acknowledged(2 * HOUR)]) == []


def test_quiet_hours_go_by_the_clock_of_the_place() -> None:
    """22:00 in Adelaide is 12:30 UTC."""
    plan = site([high("a", priority="medium")], [person("anna", quiet="22:00-06:00")], timezone="Australia/Adelaide")
    assert told(plan, {"p": {3600: 11}}, 12 * HOUR) == [(8.5 * HOUR, "anna", "first", "a")]


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"quiet": "9 to 5"}, "20:00-07:00"),
        ({"quiet": "07:00-07:00"}, "never end"),
        ({"quiet": "00:00-24:00"}, "never end"),
        ({"digest": "25:00"}, "07:30"),
        ({"sign_of_life": "noon"}, "07:30"),
    ],
)
def test_hours_that_cannot_be_meant_are_refused(settings: dict[str, str], said: str) -> None:
    """The text shows the form."""
    with pytest.raises(ValidationError, match=said):
        PersonSettings.model_validate({"id": "anna", **settings})


# --- muting: working here


def test_a_muted_alarm_is_raised_and_logged_but_not_sent() -> None:
    """Told when the mute ends by itself, since it still stands."""
    plan = site([high("a")], repeat={})
    events = judged(plan, HOT, HOUR, [act(ActKind.MUTE, 0, "a", 1800)])
    assert [e.body["state"] for e in events if e.type == "alarm"] == ["unacknowledged"]
    assert [(e.t, e.body["purpose"]) for e in notices(events)] == [(at(1800), "first")]


def test_a_mute_names_points_and_takes_every_rule_that_rests_on_them() -> None:
    """Also those that join other rules; others speak."""
    joined = rule("all_of", "both", rules=["a", "b"], priority="critical")
    plan = site([high("a"), high("b", "q"), joined], repeat={})
    values = {"p": {10: 11}, "q": {10: 11}}
    assert told(plan, values, HOUR, [act(ActKind.MUTE, 0, None, 7200, points="p")]) == [(10, "anna", "first", "b")]


def test_what_is_never_suppressed_is_never_muted() -> None:
    """Named alone it is refused; among others only the others are muted."""
    plan = site([high("oxygen", never_suppressed=True), high("a")], repeat={})
    events = judged(
        plan, HOT, HOUR, [act(ActKind.MUTE, 0, "oxygen", 1800), act(ActKind.MUTE, 0, None, 7200, points="p")]
    )
    assert [e.body["rule"] for e in notices(events)] == ["oxygen"]
    assert [e.body.get("refused") for e in events if e.type == "act"] == ["oxygen is never muted", None]


def test_repeats_and_the_next_person_wait_while_an_alarm_is_muted() -> None:
    """The word that it is over is told to who has heard of it."""
    plan = site([high("a")], [ANNA, BEN])
    acts = [act(ActKind.MUTE, 60, "a", HOUR)]
    assert told(plan, {"p": {0: 11, 1800: 9}}, 2 * HOUR, acts) == [
        (0, "anna", "first", "a"),
        (1800, "anna", "recovery", "a"),
    ]


def test_a_mute_can_be_ended_early() -> None:
    """By one whose end does not lie ahead; of the rules it names, or of all."""
    plan = site([high("a"), high("b", "q")], repeat={})
    values = {"p": {0: 11}, "q": {0: 11}}
    begin = act(ActKind.MUTE, 0, None, HOUR, rules="a, b")
    assert told(plan, values, HOUR - 1, [begin, act(ActKind.MUTE, 100, "a", 100)]) == [(100, "anna", "first", "a")]
    assert len(told(plan, values, HOUR - 1, [begin, act(ActKind.MUTE, 100, None, 100)])) == 2


@pytest.mark.parametrize(
    ("kind", "until", "data", "said"),
    [
        (ActKind.MUTE, None, {"rules": "a"}, "mute needs an end"),
        (ActKind.MUTE, 13 * HOUR, {"rules": "a"}, "mute may last 12 h at most"),
        (ActKind.MUTE, HOUR, {}, "a mute must name rules or points"),
        (ActKind.MUTE, HOUR, {"rules": "a,x"}, "there is no rule x"),
        (ActKind.MUTE, HOUR, {"points": "x"}, "there is no point x that a rule looks at"),
        (ActKind.DRILL, 5 * HOUR, {}, "drill may last 4 h at most"),
        (ActKind.DRILL, HOUR, {"rules": "x"}, "there is no rule x"),
        (ActKind.AWAY, None, {"on_duty": "ben"}, "away needs an end"),
        (ActKind.AWAY, HOUR, {}, "away needs somebody on duty"),
        (ActKind.AWAY, HOUR, {"on_duty": "zoe"}, "there is no person zoe"),
    ],
)
def test_an_order_that_cannot_be_meant_is_refused_with_a_reason(
    kind: ActKind, until: float | None, data: dict[str, str], said: str
) -> None:
    """It is in the log and changes nothing."""
    plan = site([high("a")], [ANNA, BEN], repeat={})
    events = judged(plan, {"p": {10: 11}}, 60, [act(kind, 0, None, until, **data)])
    assert [e.body["refused"] for e in events if e.type == "act"] == [said]
    assert [e.body["purpose"] for e in notices(events)] == ["first"]


# --- drills


def test_alarms_of_a_drill_are_sent_as_such_and_counted_apart() -> None:
    """Title and purpose say so, to the next person and at the end as well."""
    plan = site([high("a")], [ANNA, BEN], repeat={})
    events = notices(judged(plan, {"p": {60: 11, 900: 9}}, HOUR, [act(ActKind.DRILL, 0, None, 1800)]))
    assert [(e.t, e.body["person"], e.body["purpose"]) for e in events] == [
        (at(60), "anna", "drill"),
        (at(660), "ben", "drill"),
        (at(900), "anna", "drill"),
        (at(900), "ben", "drill"),
    ]
    assert [e.body["title"] for e in events][::2] == ["Drill: p too high: 11.0 °C", "Drill: Over: p too high"]


def test_a_drill_says_so_also_of_an_alarm_that_came_and_went_before() -> None:
    """And tries made in a drill do not make the real one after it a drill, nor one that comes and goes."""
    comes = {60 * n: 11 if n % 2 else 9 for n in range(1, 7)}
    plan = site([high("a", priority="critical")], repeat={})
    real_first = told(plan, {"p": comes | {600: 11}}, 700, [act(ActKind.DRILL, 500, None, 900)])
    assert real_first[-1] == (600, "anna", "drill", "a")
    drill_first = told(plan, {"p": comes | {600: 11}}, 700, [act(ActKind.DRILL, 0, None, 500)])
    assert {purpose for _, _, purpose, _ in drill_first[:-1]} == {"drill"}
    assert drill_first[-1] == (600, "anna", "first", "a")


def test_what_stands_when_a_drill_ends_is_real() -> None:
    """Told as a first message, even if it was acknowledged as part of the drill."""
    plan = site([high("a")], repeat={})
    drill = act(ActKind.DRILL, 0, None, 600)
    expected = [(60, "anna", "drill", "a"), (600, "anna", "first", "a")]
    assert told(plan, {"p": {60: 11}}, HOUR, [drill]) == expected
    assert told(plan, {"p": {60: 11}}, HOUR, [drill, acknowledged(120)]) == expected


def test_a_drill_that_is_ended_early_makes_real_what_stands() -> None:
    """By one whose end does not lie ahead; without a drill it changes nothing."""
    plan = site([high("a")], repeat={})
    end = act(ActKind.DRILL, 300, None, 300)
    expected = [(60, "anna", "drill", "a"), (300, "anna", "first", "a")]
    assert told(plan, {"p": {60: 11}}, HOUR, [act(ActKind.DRILL, 0, None, 600), end]) == expected
    assert told(plan, {"p": {60: 11}}, HOUR, [end]) == [(60, "anna", "first", "a")]


def test_a_drill_without_an_end_lasts_half_an_hour() -> None:
    """What is raised then is real again."""
    plan = site([high("a")], repeat={})
    assert told(plan, {"p": {1798: 11, 1799: 9}}, HOUR, [act(ActKind.DRILL, 0)])[0][2] == "drill"
    assert told(plan, {"p": {1800: 11}}, HOUR, [act(ActKind.DRILL, 0)])[0][2] == "first"


def test_what_is_never_suppressed_is_real_during_a_drill() -> None:
    """Fish cannot tell a drill; nor is a rule that the drill does not name part of it."""
    plan = site([high("oxygen", never_suppressed=True), high("a", "q"), high("b", "w")], repeat={})
    values = {"p": {60: 11}, "q": {60: 11}, "w": {60: 11}}
    assert told(plan, values, 120, [act(ActKind.DRILL, 0, "a", 600)]) == [
        (60, "anna", "first", "oxygen"),
        (60, "anna", "drill", "a"),
        (60, "anna", "first", "b"),
    ]


# --- away


def test_while_the_keeper_is_away_two_people_are_told_at_once() -> None:
    """Who is on duty, also of what only the keeper is told otherwise, and the first of the others."""
    neighbour = person("ben", after="10 min", priorities=["critical"])
    plan = site([high("a", priority="high")], [ANNA, neighbour], repeat={})
    away = act(ActKind.AWAY, 0, None, 2 * HOUR, on_duty="ben")
    assert told(plan, HOT, HOUR, [away]) == [(60, "anna", "first", "a"), (60, "ben", "first", "a")]
    assert told(plan, HOT, HOUR) == [(60, "anna", "first", "a")]


def test_a_third_person_waits_half_as_long_while_the_keeper_is_away() -> None:
    """And when the keeper is back, all is as before."""
    cleo = person("cleo", after="30 min")
    plan = site([high("a")], [ANNA, BEN, cleo], repeat={})
    away = act(ActKind.AWAY, 0, None, 2 * HOUR, on_duty="ben")
    expected = [(60, "anna", "first", "a"), (60, "ben", "first", "a"), (960, "cleo", "next", "a")]
    assert told(plan, {"p": {60: 11}}, HOUR, [away]) == expected
    back = act(ActKind.AWAY, 30, None, 30)
    assert told(plan, {"p": {60: 11}}, 900, [away, back]) == [(60, "anna", "first", "a"), (660, "ben", "next", "a")]


def test_repeats_come_in_half_the_time_while_the_keeper_is_away() -> None:
    """Or in the part of it that is set; the gathering is not shortened, for causes take as long as ever."""
    away = act(ActKind.AWAY, 0, None, HOUR, on_duty="anna")
    hot = {"p": {60: 11}}
    assert [t for t, *_ in told(site([high("a")]), hot, 400, [away])] == [60, 210, 360]
    assert [t for t, *_ in told(site([high("a")], away_waits=0.2), hot, 200, [away])] == [60, 120, 180]
    assert [t for t, *_ in told(site([high("a", priority="medium")]), hot, 400, [away])] == [120]
    back = act(ActKind.AWAY, 100, None, 100)
    assert [t for t, *_ in told(site([high("a")]), hot, 400, [away, back])] == [60, 360]


def test_away_ends_by_itself() -> None:
    """At its end the turns are as in the site file."""
    plan = site([high("a")], [ANNA, BEN], repeat={})
    away = act(ActKind.AWAY, 0, None, 60, on_duty="ben")
    assert told(plan, {"p": {60: 11}}, 120, [away]) == [(60, "anna", "first", "a")]


def test_who_comes_on_duty_is_told_of_what_stands() -> None:
    """The alarm is not acknowledged yet."""
    plan = site([high("a")], [ANNA, BEN], repeat={})
    away = act(ActKind.AWAY, 300, None, HOUR, on_duty="ben")
    assert told(plan, HOT, 400, [away]) == [(0, "anna", "first", "a"), (300, "ben", "first", "a")]
