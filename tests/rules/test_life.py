"""What becomes of an alarm: deadband and delays, suppression by design, acts, reloads and restarts?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from rules.acts import Act, ActKind
from rules.block import Block, block
from rules.engine import Engine
from rules.errors import SettingError
from rules.settings import RuleSettings
from tests.rules.told import (
    ANNA,
    HOUR,
    START,
    Values,
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


def states(
    rules: Sequence[RuleSettings], values: Values, until: float, acts: Sequence[Act] = ()
) -> list[tuple[float, str, str]]:
    """(seconds, rule, state) of every alarm event."""
    events = judged(site(rules), values, until, acts)
    return [((e.t - START) / 1000, e.body["rule"], e.body["state"]) for e in events if e.type == "alarm"]


def active_at(made: RuleSettings, values: Sequence[int], step: int) -> list[int]:
    """1 where the alarm is active just after each of these readings, one every `step` seconds."""
    changes = states([made], {"p": {step * n: value for n, value in enumerate(values)}}, step * len(values))
    found = []
    for n in range(len(values)):
        now = [state for seconds, _, state in changes if seconds <= step * n]
        found.append(int(bool(now) and now[-1] == "unacknowledged"))
    return found


# Worked by hand; semantics of deadband and delays as in OPC UA Part 9 and ANSI/ISA-18.2-2016. Whole degrees stand for
# hundredths of the worked numbers.


def test_a_low_limit_clears_at_the_limit_and_the_deadband() -> None:
    """Limit 5.0, deadband 0.25: 5.25 4.9 5.1 5.2 5.3 4.95 -> 0 1 1 1 0 1."""
    made = rule("band", "a", point="p", low=500, deadband=25, priority="critical")
    assert active_at(made, [525, 490, 510, 520, 530, 495], 60) == [0, 1, 1, 1, 0, 1]


def test_a_high_limit_clears_at_the_limit_less_the_deadband() -> None:
    """Limit 30, deadband 0.5: 29.5 30.1 29.75 29.5 30.0 30.5 -> 0 1 1 0 0 1."""
    made = rule("band", "a", point="p", high=3000, deadband=50, priority="critical")
    assert active_at(made, [2950, 3010, 2975, 2950, 3000, 3050], 60) == [0, 1, 1, 0, 0, 1]


def test_delays_count_from_when_the_condition_and_the_return_began() -> None:
    """On and off 30 s, readings every 10 s."""
    made = high("a", on_delay="30 s", off_delay="30 s")
    condition = [0, 1, 1, 0, 1, 1, 1, 1, 1, 0, 1, 0, 0, 0, 0]
    expected = [0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 0]
    assert active_at(made, [11 if one else 9 for one in condition], 10) == expected


# --- suppressed by design

FEEDING = rule("band", "feeding", point="q", high=-100, priority="log", since_note="fed", within="30 min")
"""True for half an hour after a feed, as long as q speaks."""


def test_an_alarm_is_suppressed_while_another_condition_is_true() -> None:
    """Fed at 100 s: what is raised meanwhile speaks 30 minutes later if it still stands."""
    rules = [FEEDING, high("a", suppressed_while="feeding")]
    fed = [act(ActKind.NOTE, 100, kind="fed")]
    assert states(rules, {"q": {0: 0}, "p": {200: 11}}, 3 * HOUR, fed) == [
        (200, "a", "suppressed"),
        (1900, "a", "unacknowledged"),
    ]
    assert states(rules, {"q": {0: 0}, "p": {200: 11, 1900: 9}}, 3 * HOUR, fed)[-1] == (1900, "a", "normal")


def test_an_alarm_that_stands_falls_quiet_when_the_condition_becomes_true() -> None:
    """At that instant; the log says why."""
    rules = [high("w", "q", priority="log"), high("a", suppressed_while="w")]
    values: Values = {"p": {0: 11}, "q": {60: 11, 120: 9}}
    assert states(rules, values, 300) == [
        (0, "a", "unacknowledged"),
        (60, "a", "suppressed"),
        (120, "a", "unacknowledged"),
    ]
    whys = [e.body["why"] for e in judged(site(rules), values, 300) if e.type == "alarm"]
    assert whys[1:] == ["suppressed while w", "what explained it is over"]


def test_only_what_is_known_to_be_true_suppresses() -> None:
    """The condition's point has fallen silent: the alarm speaks."""
    rules = [high("w", "q", priority="log"), high("a", suppressed_while="w")]
    plan = site(rules, stale_after=100_000)
    events = judged(plan, {"q": {0: 11}, "p": {0: 9, 60: 11, 120: 11, 180: 11}}, 200)
    assert [((e.t - START) / 1000, e.body["state"]) for e in events if e.type == "alarm"] == [
        (60, "suppressed"),
        (100, "unacknowledged"),
    ]


def test_what_is_never_suppressed_speaks_while_the_condition_is_true() -> None:
    """Critical oxygen, whatever else is set."""
    rules = [high("w", "q", priority="log"), high("a", suppressed_while="w", never_suppressed=True)]
    assert states(rules, {"q": {0: 11}, "p": {0: 11}}, 10) == [(0, "a", "unacknowledged")]


def test_the_same_can_be_said_with_while_and_not() -> None:
    """Then the condition itself is false meanwhile: an alarm returns instead of being suppressed."""
    rules = [
        high("w", "q", priority="log"),
        rule("not", "else", rule="w", priority="log"),
        high("a", **{"while": "else"}),
    ]
    assert states(rules, {"p": {0: 11}, "q": {0: 9, 60: 11, 120: 9}}, 300) == [
        (0, "a", "unacknowledged"),
        (60, "a", "returned"),
        (120, "a", "unacknowledged"),
    ]


@pytest.mark.parametrize(("other", "said"), [("x", "is no rule"), ("a", "is itself")])
def test_a_rule_that_cannot_suppress_is_refused(other: str, said: str) -> None:
    """When the plan is taken up."""
    with pytest.raises(SettingError, match=said):
        Engine(site([high("a", suppressed_while=other)]), START)


def test_an_alarm_released_by_a_person_while_suppressed_stays_quiet() -> None:
    """It was shelved, and is suppressed when the shelving ends."""
    rules = [high("w", "q", priority="log"), high("a", suppressed_while="w")]
    acts = [act(ActKind.SHELVE, 10, "a", 1000), act(ActKind.UNSHELVE, 60, "a")]
    assert states(rules, {"p": {0: 11}, "q": {30: 11}}, 100, acts)[1:] == [
        (10, "a", "shelved"),
        (60, "a", "suppressed"),
    ]


# --- acts


@pytest.mark.parametrize(
    ("kind", "until", "said"),
    [
        (ActKind.ACKNOWLEDGE, None, "cannot acknowledge a (high): it is normal"),
        (ActKind.RESET, None, "cannot reset a (high): it is normal"),
        (ActKind.UNSHELVE, None, "a (high) is normal, not shelved"),
        (ActKind.SHELVE, None, "shelving needs an end that lies ahead, at most a year away"),
        (ActKind.SHELVE, 400 * 24 * HOUR, "shelving needs an end that lies ahead, at most a year away"),
    ],
)
def test_an_act_that_is_not_allowed_is_refused_with_a_reason(kind: ActKind, until: float | None, said: str) -> None:
    """It stands in the log, and nothing changes."""
    events = judged(site([high("a")]), {"p": {0: 9}}, 60, [act(kind, 10, "a", until)])
    assert [e.body["refused"] for e in events if e.type == "act"] == [said]
    assert [e for e in events if e.type == "alarm"] == []


def test_an_act_on_an_alarm_that_there_is_not_is_refused() -> None:
    """By name."""
    events = judged(site([high("a")]), {"p": {0: 11}}, 60, [acknowledged(10, "b")])
    assert [e.body.get("refused") for e in events if e.type == "act"] == ["there is no alarm b"]


def test_a_refusal_names_the_side_the_state_and_what_nobody_waits_for() -> None:
    """A side that the rule lacks, an alarm set aside in another way, and all alarms where none waits."""
    acts = [
        act(ActKind.ACKNOWLEDGE, 5, None, None),
        Act(at(8), ActKind.ACKNOWLEDGE, rule="a", side="low"),
        act(ActKind.SHELVE, 10, "a", 1000),
        act(ActKind.IN_SERVICE, 20, "a", None),
    ]
    events = judged(site([high("a")]), {"p": {0: 9}}, 60, acts)
    assert [e.body.get("refused") for e in events if e.type == "act"] == [
        "there is nothing to acknowledge",
        "there is no alarm a (low)",
        None,
        "a (high) is shelved, not out-of-service",
    ]


@pytest.mark.parametrize(
    ("data", "seen"),
    [
        ({}, True),
        ({"since": str(at(40))}, True),
        ({"since": str(at(0))}, False),
        ({"known_upto": str(at(50) - 1)}, False),
        ({"known_upto": str(at(50))}, True),
    ],
)
def test_an_acknowledgement_reaches_only_the_activation_that_was_seen(data: dict[str, str], seen: bool) -> None:
    """Here the second, which begins at 40 s and is raised at 50 s; the first was over meanwhile."""
    rules = [high("a", on_delay="10 s", off_delay="10 s")]
    values = {"p": {0: 11, 20: 9, 40: 11}}
    events = judged(site(rules), values, 100, [act(ActKind.ACKNOWLEDGE, 60, "a", None, **data)])
    assert [e.body["state"] for e in events if e.type == "alarm"][-1] == ("acknowledged" if seen else "unacknowledged")
    refused = None if seen else "a (high) came back since; that is not seen yet"
    assert [e.body.get("refused") for e in events if e.type == "act"] == [refused]


def test_who_is_on_duty_and_what_is_muted_is_in_the_log() -> None:
    """With until when, by whom, and what was named."""
    acts = [
        act(ActKind.AWAY, 0, None, HOUR, on_duty="anna"),
        act(ActKind.MUTE, 1, None, HOUR, points="p"),
        act(ActKind.DRILL, 2, None, HOUR),
    ]
    found = [e.body for e in judged(site([high("a")]), {}, 10, acts) if e.type == "act"]
    assert [body["kind"] for body in found] == ["away", "mute", "drill"]
    assert all(body["until"] == at(HOUR) and body["who"] == "anna" and "refused" not in body for body in found)
    assert (found[0]["on_duty"], found[1]["points"]) == ("anna", "p")


def test_a_muted_alarm_says_so_on_the_screen() -> None:
    """Until when, and nothing of it afterwards."""
    plan = site([high("a"), high("b", "q")])
    engine = Engine(plan, START)
    engine.step([], [act(ActKind.MUTE, 0, "a", 600)], at(0))
    engine.step(_blocks({"p": {1: 11}, "q": {1: 11}}), [], at(1))
    assert [(one["rule"], one["muted_until"]) for one in engine.alarms()] == [("a", at(600)), ("b", None)]
    engine.step([], [], at(600))
    assert [one["muted_until"] for one in engine.alarms()] == [None, None]


def _blocks(values: Values) -> list[Block]:
    return [block(point, [at(t) for t in own], list(own.values())) for point, own in values.items()]


def test_acts_that_came_late_are_judged_in_the_order_of_their_own_times() -> None:
    """Shelved at 10 s and acknowledged at 20 s, heard the other way round: what is shelved is acknowledged no more."""
    engine = Engine(site([high("a")]), START)
    engine.step(_blocks({"p": {0: 11}}), [], at(30))
    late = [acknowledged(20, "a"), act(ActKind.SHELVE, 10, "a", 600)]
    found = engine.step([], late, at(60))
    assert [event.body["kind"] for event in found if event.type == "act"] == ["shelve", "acknowledge"]
    assert [(event.t - START, event.body["state"]) for event in found if event.type == "alarm"] == [(30_001, "shelved")]


def test_ends_of_shelving_and_of_explanations_in_one_instant_come_in_the_order_of_the_site_file() -> None:
    """At 100 s c is over for 60 s, so that it explains a no more; just then b is shelved no more."""
    rules = [high("a"), high("b", "q"), high("c", "w", explains=["a"], after="60 s")]
    values: Values = {"p": {0: 11}, "q": {0: 11}, "w": {0: 11, 40: 9}}
    found = [one for one in states(rules, values, 200, [act(ActKind.SHELVE, 5, "b", 100)]) if one[0] == 100]
    assert found == [(100, "a", "unacknowledged"), (100, "b", "unacknowledged")]


# --- reloads and restarts


def test_a_changed_setting_counts_from_the_reload_on() -> None:
    """The minute of gathering was cut to nothing: what waits is told at the next instant, not in the past."""
    engine = Engine(site([high("a", priority="high")]), START)
    engine.step(_blocks({"p": {0: 11}}), [], at(30))
    again = Engine.restore(site([high("a", priority="high")], gather="10 s"), engine.state())
    assert [(e.t, e.body["purpose"]) for e in again.step([], [], at(31))] == [(at(30) + 1, "first")]


def test_a_person_who_is_new_in_the_site_file_is_told_of_what_stands() -> None:
    """And who is gone is told nothing more."""
    engine = Engine(site([high("a")]), START)
    engine.step(_blocks({"p": {0: 11}}), [], at(30))
    again = Engine.restore(site([high("a")], [person("cleo")]), engine.state())
    assert [(e.body["person"], e.body["purpose"]) for e in again.step([], [], at(31))] == [("cleo", "first")]


def test_an_alarm_whose_rule_is_gone_is_forgotten() -> None:
    """With what was owed of it."""
    engine = Engine(site([high("a"), high("b", "q")]), START)
    engine.step(_blocks({"p": {0: 11}, "q": {0: 11}}), [act(ActKind.MUTE, 0, None, HOUR, rules="a,b")], at(30))
    again = Engine.restore(site([high("b", "q")]), engine.state())
    assert [e.body["rule"] for e in notices(again.step([], [], at(HOUR)))] == ["b"]


def test_waiting_does_not_count_while_nothing_ran() -> None:
    """The repeat comes five minutes of running later."""
    off = Act(at(60), ActKind.OFF, "tidebed", until=at(660))
    assert told(site([high("a")]), {"p": {0: 11}}, 950, [off]) == [
        (0, "anna", "first", "a"),
        (900, "anna", "repeat", "a"),
    ]


def test_the_engine_says_when_it_next_has_something_to_say() -> None:
    """The end of gathering, a repeat, the next person's turn; nothing where nothing waits."""
    engine = Engine(site([high("a", priority="high")], [ANNA]), START)
    engine.step(_blocks({"p": {0: 11}}), [], at(1))
    assert engine.next_instant() == at(60)
    engine.step([], [], at(60))
    assert engine.next_instant() == at(3660)
    engine.step([], [], at(3660))
    assert engine.next_instant() == START + 400 * 86_400_000  # the point would fall silent


def test_a_rule_that_fails_is_told_by_its_name_and_the_others_go_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """The message sends to look, and the log tells what went wrong."""
    plan = site([high("a"), high("b", "q")], repeat={})
    engine = Engine(plan, START)

    def broken(view: object) -> object:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr(engine.judges[0].condition, "edges", broken)
    events = engine.step(_blocks({"q": {0: 11}}), [], at(60))
    assert [e.body["why"] for e in events if e.type == "fault"] == ["ZeroDivisionError: by nothing"]
    assert [e.body["title"] for e in notices(events)] == ["q too high: 11.0 °C"]
    later = notices(engine.step([], [], at(180)))
    assert later[0].body["title"] == "Rule a failed and watches nothing"
    assert (
        later[0]
        .body["text"]
        .endswith("First: look yourself at what it watches; then read the log and mend its settings.")
    )


def test_a_message_is_made_of_what_is_known_at_its_instant() -> None:
    """Not of what comes later in the same step."""
    plan = site([high("a", title="Air {value}", priority="high")])
    assert message(plan, {"p": {0: 11, 30: 12, 90: 13}}, 120).body["title"] == "Air 12.0 °C"


@pytest.mark.parametrize(
    ("settings", "why"),
    [
        ({"high": 10}, "beyond its high limit 10 degC"),
        ({"low": 0, "point": "q"}, "beyond its low limit 0 degC"),
        ({"high": "50 degF"}, "beyond its high limit 50 degF"),
        ({"high": 10, "limits": [{"high": 9, "hours": "00:00-12:00"}]}, "beyond its high limit of the hour"),
    ],
)
def test_an_alarm_says_which_limit_was_passed_with_one_unit(settings: dict[str, Any], why: str) -> None:
    """As it stands in the site file; a limit of nought is a limit too."""
    made = rule("band", "a", **{"point": "p", "priority": "high", **settings})
    events = judged(site([made]), {"p": {0: 11}, "q": {0: -1}}, 60)
    assert [event.body["why"] for event in events if event.type == "alarm"] == [why]


def test_a_difference_carries_one_unit_too() -> None:
    """Apart by more than 2 degF, and still within 1 degF."""
    spread = rule("spread", "a", points=["p", "q"], span="2 degF", priority="high")
    flat = rule("flat", "b", point="p", tolerance="1 degF", window="60 s", priority="high")
    events = judged(site([spread, flat]), {"p": {0: 11, 60: 11}, "q": {0: 9}}, 60)
    told = [event.body["why"] for event in events if event.type == "alarm"]
    assert told == ["p, q are more than 2 degF apart", "moved no more than 1 degF over 1 min"]
