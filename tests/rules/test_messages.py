"""Does a message say what is wrong, since when, how long there is and what to do first, and fit a lock screen?"""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.acts import ActKind
from rules.block import block
from rules.conditions import KINDS
from rules.durations import DAY
from rules.engine import Engine
from rules.local_time import Zone
from rules.messages import BODY_SIZE, TITLE_SIZE
from rules.plan import Plan, PointPlan
from rules.settings import RuleSettings
from rules.showing import show, show_why
from rules.texts import Words
from tests.rules.told import (
    ANNA,
    BEN,
    HOUR,
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
)

HOT: Values = {"p": {0: 11}}
NAMES = {"p": "Air", "q": "Oxygen"}


def body(plan: Plan, values: Values = HOT, until: float = 120, purpose: str = "first") -> str:
    """The text of the first message of a purpose."""
    text: str = message(plan, values, until, purpose=purpose).body["text"]
    return text


def title(plan: Plan, values: Values = HOT, until: float = 120, purpose: str = "first") -> str:
    """Its title."""
    text: str = message(plan, values, until, purpose=purpose).body["title"]
    return text


# --- titles


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"title": "Air is hot: {value}"}, "Air is hot: 11.0 °C"),
        ({"title": "Hot, floor {q}"}, "Hot, floor 5.0 °C"),
        ({"title": "Hot, sky {sky}"}, "Hot, sky {sky}"),
        ({}, "Air too high: 11.0 °C"),
    ],
)
def test_a_title_says_what_is_wrong_with_its_numbers(settings: dict[str, str], said: str) -> None:
    """Those of the rule, else of its kind; a name that is none stays as it stands."""
    assert title(site([high("a", **settings)], names=NAMES), {"p": {0: 11}, "q": {0: 5}}) == said


@pytest.mark.parametrize(
    ("kind", "settings", "values", "said"),
    [
        ("band", {"low": 10}, {0: 9}, "Air too low: 9.0 °C"),
        (
            "rate",
            {"rise": "1 degC/min", "window": "2 min", "min_readings": 2},
            {0: 1, 60: 5, 120: 9},
            "Air rises fast: 5.0 °C",
        ),
        (
            "rate",
            {"fall": "1 degC/min", "window": "2 min", "min_readings": 2},
            {0: 9, 60: 5, 120: 1},
            "Air falls fast: 5.0 °C",
        ),
        ("silent", {}, {0: 9}, "Air sends nothing"),
        ("flat", {"tolerance": 0, "window": "1 min"}, {0: 9, 60: 9}, "Air repeats one value: 9.0 °C"),
    ],
)
def test_every_kind_has_a_title_of_its_own(
    kind: str, settings: dict[str, Any], values: dict[int, int | None], said: str
) -> None:
    """Where the rule gives none."""
    made = rule(kind, "a", point="p", priority="critical", **settings)
    assert title(site([made], names=NAMES, stale_after=300_000), {"p": values}, 600) == said


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("Flow is down to {value}", "Over: Flow is down"),
        ("Frost threatens inside: air {value}", "Over: Frost threatens inside"),
        ("Air is hot: {value}", "Over: Air is hot"),
        ("Flow meter reads {q} though water runs", "Over: Flow meter"),
        ("{value} in the air", "Over: Air"),
        ("Water has stopped", "Over: Water has stopped"),
    ],
)
def test_the_title_of_what_is_over_has_no_numbers(written: str, said: str) -> None:
    """They were those of its beginning."""
    plan = site([high("a", title=written)], names=NAMES)
    assert title(plan, {"p": {0: 11, 60: 9}}, purpose="recovery") == said


def test_a_repeat_says_that_it_still_stands() -> None:
    """With the numbers of now."""
    plan = site([high("a", title="Air is hot: {value}")])
    assert title(plan, {"p": {0: 11, 200: 15}}, 301, "repeat") == "Still: Air is hot: 15.0 °C"


# --- bodies


def test_a_body_says_the_numbers_since_when_and_what_to_do_first() -> None:
    """In this order, in local time."""
    plan = site([high("a", says="Air {value}, floor {q}", do="open the vents.")], timezone="Europe/Dublin")
    assert body(plan, {"p": {60: 11}, "q": {0: 5}}) == "Air 11.0 °C, floor 5.0 °C since 13:01. First: open the vents."


def test_numbers_come_in_the_keepers_unit() -> None:
    """11 °C are 51.8 °F; of a slope the degrees are differences."""
    plan = site([high("a", says="Air {value}")], unit="degF")
    assert body(plan) == "Air 51.8 °F since 12:00."
    assert title(site([high("a")], unit="degF")) == "p too high: 51.8 °F"


def test_what_began_another_day_says_which() -> None:
    """A repeat, 23 hours later."""
    plan = site([high("a")], repeat={"critical": "23 h"})
    assert body(plan, HOT, 24 * HOUR, "repeat") == "p 11.0 °C since Wed 12:00."
    assert body(site([high("a")], repeat={"critical": "11 h"}), HOT, 24 * HOUR, "repeat") == "p 11.0 °C since 12:00."


def test_what_must_last_before_it_counts_began_before_it_did() -> None:
    """A bed that is full for an hour has been so for an hour when the alarm comes; a stuck probe for its window."""
    full = rule("cycle", "a", point="p", low=2, high=10, full="1 h", priority="critical")
    values: Values = {"p": {0: 1, 600: 11, 5000: 1}}
    assert body(site([full]), values, 4300) == "p 11.0 °C since 12:10."
    assert "after 1 h 15." in body(site([full]), values, 6000, "recovery")
    flat = rule("flat", "a", point="p", tolerance=0, window="10 min", priority="critical")
    assert body(site([flat]), {"p": {60: 9, 360: 9, 660: 9}}, 700) == "p 9.0 °C since 12:01."
    still = [{"point": "p", "still": 1, "window": "10 min"}]
    stopped = rule("stopped", "a", evidence=still, priority="critical")
    assert body(site([stopped]), {"p": {60: 9, 360: 9, 660: 9}}, 700) == "p 9.0 °C since 12:01."


def test_the_message_that_it_is_over_says_when_and_after_how_long() -> None:
    """And what its point shows now; acknowledged or not."""
    plan = site([high("a")], names=NAMES)
    values: Values = {"p": {0: 11, 1800: 9}}
    said = "Back to normal at 12:30 after 30 min. Air: 9.0 °C."
    assert body(plan, values, HOUR, "recovery") == said
    assert message(plan, values, HOUR, [acknowledged(60)], "recovery").body["text"] == said


def test_the_next_person_reads_that_nobody_has_answered() -> None:
    """Since the first message."""
    plan = site([high("a", do="go and look.")], [ANNA, BEN])
    assert body(plan, HOT, 700, "next") == "p 11.0 °C since 12:00. Nobody has answered since 12:00. First: go and look."


# --- evidence


def test_thin_evidence_is_said() -> None:
    """Of two pieces one is silent: the alarm stands on the other, and the message names what is not known."""
    evidence = [{"point": "p", "under": 2}, {"point": "q", "under": 2}]
    stopped = rule("stopped", "a", evidence=evidence, needed=2, priority="critical", says="Flow {p}")
    plan = site([stopped], names=NAMES, stale_after=60_000)
    values: Values = {"p": {0: 9, 30: 9, 60: 1}, "q": {0: 9}}
    assert body(plan, values, 90) == "Flow 1.0 °C since 12:01. Evidence is thin: nothing known of Oxygen."
    assert "thin" not in body(plan, {"p": {0: 9, 30: 1}, "q": {0: 9, 30: 1}}, 40)


def test_a_rule_that_is_blind_says_so_and_sends_to_look() -> None:
    """What the rule says of stopped water would be wrong here."""
    stopped = rule("stopped", "a", evidence=[{"point": "p", "under": 2}], priority="critical", says="Flow {p}", do="x.")
    said = message(site([stopped], names=NAMES, stale_after=60_000), {"p": {0: 9}}, 200).body
    assert said["title"] == "Nothing watches the water: Air is silent"
    assert said["text"] == (
        "Air and what else tells of the water send nothing since 12:01. "
        "First: look whether water returns to the tank; then check the plugs of the probes."
    )


def test_a_side_may_have_a_priority_and_texts_of_its_own() -> None:
    """The low one here; what it leaves out, and the other side, are the rule's."""
    own = {"low": {"priority": "critical", "title": "Cold: {value}", "do": "cover the trees."}}
    made = rule("band", "a", point="p", high=10, low=2, priority="high", do="look.", says="It is {value}", sides=own)
    plan = site([made], names=NAMES)
    cold, hot = message(plan, {"p": {0: 1}}, 120), message(plan, {"p": {0: 11}}, 120)
    assert (cold.body["priority"], hot.body["priority"]) == ("critical", "high")
    assert (cold.body["title"], hot.body["title"]) == ("Cold: 1.0 °C", "Air too high: 11.0 °C")
    assert cold.body["text"] == "It is 1.0 °C since 12:00. First: cover the trees."
    assert hot.body["text"] == "It is 11.0 °C since 12:00. First: look."


# --- how long there is


def falling(step: int, count: int, **runway: Any) -> tuple[RuleSettings, Values]:
    """Oxygen falls by 1 every `step` seconds from 15 on; too low under 10."""
    made = rule("band", "a", point="q", low=10, priority="critical", runway={"point": "q", "limit": 5, **runway})
    return made, {"q": {step * n: 15 - n for n in range(count)}}


def test_the_time_left_is_estimated_from_the_slope_and_says_so() -> None:
    """1 every 10 min: 6 an hour; from 9 to 5 in 40 min."""
    made, values = falling(600, 7, window="20 min", harm="fish are in danger")
    said = body(site([made], names=NAMES), values, 3601)
    assert said == (
        "Oxygen 9.0 °C since 13:00. About 40 min to 5.0 °C, where fish are in danger, falling 6.0 an hour as now."
    )


def test_the_time_left_is_estimated_from_an_expected_loss_until_a_slope_is_measured() -> None:
    """At 2 an hour from 9 to 5 in two hours; the assumption is named."""
    made, values = falling(600, 7, window="20 min", loss="2 degC/h")
    said = body(site([made], names=NAMES), values, 3601)
    assert said == "Oxygen 9.0 °C since 13:00. About 2 h to 5.0 °C, if it falls 2.0 an hour."


def test_of_another_point_the_time_left_names_it() -> None:
    """Its value, once."""
    made = high("a", "p", runway={"point": "q", "limit": 5, "loss": "2 degC/h"})
    said = body(site([made], names=NAMES), {"p": {0: 11}, "q": {0: 9}})
    assert said == "Air 11.0 °C since 12:00. Oxygen 9.0 °C: about 2 h to 5.0, if it falls 2.0 an hour."


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (6, " Oxygen 6.0 °C: about 30 min to 5.0, where fish are in danger, if it falls 2.0 an hour."),
        (5, " Oxygen 5.0 °C: less than a minute to 5.0, where fish are in danger, if it falls 2.0 an hour."),
        (4, " Oxygen 4.0 °C: already under 5.0, where fish are in danger."),
    ],
)
def test_a_loss_is_never_said_to_lead_back_to_a_limit_that_is_passed(value: int, said: str) -> None:
    """Above, at and under the limit: under it there is no time left, and the message says so."""
    made = high("a", "p", runway={"point": "q", "limit": 5, "loss": "2 degC/h", "harm": "fish are in danger"})
    assert body(site([made], names=NAMES), {"p": {0: 11}, "q": {0: value}}) == f"Air 11.0 °C since 12:00.{said}"


def test_a_gain_leads_upwards() -> None:
    """A negative loss: from 9 to 12 at 2 an hour; over 12 it is passed."""
    made = high("a", "p", runway={"point": "q", "limit": 12, "loss": "-2 degC/h"})
    plan = site([made], names=NAMES)
    assert body(plan, {"p": {0: 11}, "q": {0: 9}}).endswith("about 1 h 30 to 12.0, if it rises 2.0 an hour.")
    assert body(plan, {"p": {0: 11}, "q": {0: 13}}).endswith("Oxygen 13.0 °C: already over 12.0.")


@pytest.mark.parametrize(
    ("kind", "value", "said"), [("low", 3, "Already under 5.0 °C."), ("high", 7, "Already over 5.0 °C.")]
)
def test_of_its_own_point_a_rule_knows_on_which_side_the_harm_lies(kind: str, value: int, said: str) -> None:
    """The side that is told is the side of the harm, without a loss being named."""
    made = rule("band", "a", point="q", **{kind: 5}, priority="critical", runway={"point": "q", "limit": 5})
    assert body(site([made], names=NAMES), {"q": {0: value}}).endswith(said)


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({0: 15, 600: 12, 1200: 9}, "two readings of a run are no slope"),
        ({0: 9, 600: 9, 1200: 9}, "it does not fall"),
        ({0: 4, 60: 3, 120: 2}, "the limit is passed"),
    ],
)
def test_the_time_left_is_left_out_rather_than_invented(values: dict[int, int | None], why: str) -> None:
    """Where the slope is not known, leads elsewhere, or the harm is there."""
    made = rule(
        "band", "a", point="q", low=10, priority="critical", runway={"point": "q", "limit": 5, "window": "9 min"}
    )
    assert "bout" not in body(site([made]), {"q": values}, 1201), why


@pytest.mark.parametrize(("limit", "said"), [(-6, True), (-7, True), (-8, False)])
def test_a_slope_tells_of_eight_times_its_window_and_no_more(limit: int, said: bool) -> None:
    """1 in 50 s over 100 s; from 9 to -7 are 800 s, to -8 more."""
    made, values = falling(50, 7, window="100 s", limit=limit)
    assert ("About" in body(site([made]), values, 301)) is said


def test_the_slope_counts_only_the_run_it_lies_in_however_it_is_cut() -> None:
    """The probe was silent for five minutes: what it said before is of another time."""
    made = rule("band", "a", point="q", low=10, priority="critical", runway={"point": "q", "limit": 5, "window": "1 h"})
    plan = site([made], stale_after=120_000)
    values: dict[int, int | None] = {60 * n: 30 for n in range(5)}
    values |= {600 + 60 * n: 11 - n // 2 for n in range(8)}
    said = message(plan, {"q": values}, 1000).body["text"]  # judged in one step and reading by reading
    assert "falling 29 an hour" not in said
    assert "bout" in said


# --- what gives way


LONG = "the quick brown fox jumps over the lazy dog and then comes back for more. "


def test_sentences_give_way_to_what_must_be_done() -> None:
    """First the assumption, then the harm, then who has not answered; never the first thing to do."""
    runway = {"point": "q", "limit": 5, "loss": "2 degC/h", "harm": "fish are in danger"}
    texts = []
    for size in (40, 110, 125, 150, 175, 205, 225, 238):
        do = (LONG * 4)[: size - 8] + "."
        plan = site([high("a", runway=runway, do=do)], [ANNA, BEN], names=NAMES)
        texts.append(body(plan, {"p": {0: 11}, "q": {0: 9}}, 700, "next"))
        assert texts[-1].endswith(f"First: {do}")
        assert len(texts[-1]) <= BODY_SIZE
    assert ["an hour" in text for text in texts] == [True] + [False] * 7
    assert ["danger" in text for text in texts] == [True, True] + [False] * 6
    assert ["answered" in text for text in texts] == [True, True, True] + [False] * 5
    assert ["about 2 h" in text for text in texts] == [True] * 5 + [False] * 3
    assert ["since 12:00" in text for text in texts] == [True] * 6 + [False] * 2


text = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc"), exclude_characters="{}"), max_size=300)


@given(says=text, do=text, heading=text)
@settings(max_examples=60, deadline=None)
def test_whatever_is_written_fits_and_keeps_what_to_do(says: str, do: str, heading: str) -> None:
    """Titles up to 60, bodies up to 240 characters; what to do first is whole where it can be."""
    plan = site([high("a", says=says, do=do, title=heading)], [ANNA, BEN])
    for event in notices(judged(plan, {"p": {0: 11, 700: 9}}, 800)):
        assert len(event.body["title"]) <= TITLE_SIZE
        assert len(event.body["text"]) <= BODY_SIZE
        if event.body["purpose"] != "recovery" and do and len(f"First: {do}") <= BODY_SIZE:
            assert event.body["text"].endswith(f"First: {do}".strip())


word = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc"), exclude_characters="{}"), max_size=90)


@given(called=st.tuples(word, word, word), harm=word, unit=st.sampled_from(["degC", "degF"]), place=word)
@settings(max_examples=25, deadline=None)
def test_long_names_fit_in_every_kind_of_message(
    called: tuple[str, str, str], harm: str, unit: str, place: str
) -> None:
    """First, next, repeat, recovery, drill, summary, chattering, digest and sign of life."""
    names = dict(zip("pqw", called, strict=True))
    runway = {"point": "q", "limit": 5, "loss": "2 degC/h", "harm": harm}
    rules = [
        high("a", runway=runway, title=called[0] or None, explains=["o"]),
        high("o", "w", never_suppressed=True),
        *(high(f"h{n}", "q", priority="high", title=called[1] or None) for n in range(4)),
        high("low", "q", priority="low"),
    ]
    reader = person("dora", priorities=["critical"], digest="12:20", sign_of_life="12:30")
    plan = site(rules, [ANNA, BEN, reader], names=names, unit=unit)
    plan = dataclasses.replace(plan, name=place)
    values: dict[str, dict[int, int | None]] = {
        "p": {0: 11, 2000: 9, 2010: 11, 2020: 9, 2030: 11, 2040: 9, 2050: 11, 2055: 9},
        "q": {0: 9, 700: 11, 1700: 9},
        "w": {0: 9, 5: 11},
    }
    acts = [act(ActKind.DRILL, 2500, None, 2900)]
    values["q"] |= {2550: 11}
    found = notices(judged(plan, values, 3000, acts))
    purposes = {event.body["purpose"] for event in found}
    assert purposes >= {
        "first",
        "next",
        "repeat",
        "recovery",
        "summary",
        "chattering",
        "digest",
        "sign-of-life",
        "drill",
    }
    for event in found:
        assert len(event.body["title"]) <= TITLE_SIZE, event.body["purpose"]
        assert len(event.body["text"]) <= BODY_SIZE, event.body["purpose"]


def test_volumes_come_in_gallons_where_the_keeper_wants_them() -> None:
    """US gallons, in messages as in limits; 3.785411784 L each (NIST Handbook 44, appendix C)."""
    flow = PointPlan("flow", "flow", "L/min", Fraction(1, 100), 60_000, 10**9, name="Flow back to the tank")
    rule_made = KINDS["band"].model_validate(
        {
            "id": "a",
            "kind": "band",
            "point": "flow",
            "low": "2 gal/min",
            "priority": "critical",
            "title": "Flow {value}",
        }
    )
    plan = Plan("x", "UTC", (flow,), (rule_made,), persons=(ANNA,), settle=0, volume_unit="gal")
    events = Engine(plan, at(0)).step([block("flow", [at(0), at(60)], [758, 757])], [], at(61))
    (notice,) = notices(events)
    assert notice.body["title"] == "Flow 2.0 gal/min"
    assert notice.body["text"] == "Flow back to the tank 2.0 gal/min since 12:01."


def test_an_amount_in_a_text_is_shown_in_the_keepers_unit() -> None:
    """So that a number that the keeper wrote stands beside values of the same unit, whatever is chosen."""
    settings = {"title": "May pass {30 degC} soon: {value}", "says": "Air over {26.5 degC}", "do": "fill {200 L} in."}
    for unit, title, text in (
        ("degC", "May pass 30 °C soon: 11.0 °C", "Air over 26.5 °C since 12:00. First: fill 200 L in."),
        ("degF", "May pass 86.0 °F soon: 51.8 °F", "Air over 79.7 °F since 12:00. First: fill 52.8 gal in."),
    ):
        plan = site([high("a", **settings)], unit=unit)
        plan = dataclasses.replace(plan, volume_unit="gal" if unit == "degF" else "L")
        first, over = notices(judged(plan, {"p": {0: 11, 60: 9}}, 120))
        assert (first.body["title"], first.body["text"]) == (title, text)
        assert over.body["title"] == f"Over: {title.partition(':')[0]}"


@pytest.mark.parametrize(("counts", "shown"), [(119, "119.0 s"), (120, "2 min"), (3700, "1 h"), (200_000, "2 days")])
def test_seconds_of_some_length_are_told_in_words(counts: int, shown: str) -> None:
    """As nobody counts to 312 at night; a short one to the second."""
    age = PointPlan("age", "duration", "s", Fraction(1), 60_000, 10**9, name="Newest reading")
    said = KINDS["band"].model_validate(
        {"id": "a", "kind": "band", "point": "age", "high": 1, "title": "Old: {value}", "priority": "critical"}
    )
    plan = Plan("x", "UTC", (age,), (said,), persons=(ANNA,), settle=0)
    (notice,) = notices(Engine(plan, at(0)).step([block("age", [at(0)], [counts])], [], at(1)))
    assert notice.body["title"] == f"Old: {shown}"
    assert notice.body["text"] == f"Newest reading {shown} since 12:00."


@pytest.mark.parametrize(
    ("days", "shown"),
    [(0.4, "12:00"), (1, "Mon 12:00"), (6 - 1 / DAY, "Mon 12:00"), (6, "2026-06-01 12:00"), (40, "2026-06-01 12:00")],
)
def test_a_time_of_another_day_names_the_day_and_one_long_ago_the_date(days: float, shown: str) -> None:
    """A day of the week is told for less than a week, so that it is never taken for another."""
    noon = 1_780_315_200_000
    assert Words({}).clock(Zone("UTC"), noon, noon + round(days * DAY)) == shown


DOOR = PointPlan("door", "state", "1", Fraction(1), 60_000, 10**9, name="Door open")


@pytest.mark.parametrize(("counts", "shown"), [(1, "yes"), (0, "no"), (2, "2"), (-1, "-1")])
def test_a_contact_shows_yes_or_no(counts: int, shown: str) -> None:
    """One and zero mean nothing to a keeper; what is neither stays a number."""
    assert show(Plan("x", "UTC", (DOOR,)), DOOR, counts) == shown


@pytest.mark.parametrize(
    ("why", "shown"),
    [
        ("beyond its high limit 26.0 degC", "beyond its high limit 78.8 °F"),
        ("beyond its low limit -5 degC", "beyond its low limit 23.0 °F"),
        ("beyond its high limit 90 degF", "beyond its high limit 90 °F"),
        ("would pass its low limit 3 degC within 90 min", "would pass its low limit 37.4 °F within 90 min"),
        ("a, b are more than 2 degC apart", "a, b are more than 3.6 °F apart"),
        ("moved no more than 0.5 degC over 2 h", "moved no more than 0.9 °F over 2 h"),
        ("beyond its low limit 3.0 L/min", "beyond its low limit 0.8 gal/min"),
        ("return.flow under 30 L/h, pump.current under 0.1 A", "return.flow under 7.9 gal/h, pump.current under 0.1 A"),
        ("beyond its high limit 3 1", "beyond its high limit 3"),
        ("beyond its low limit 3.0 mg/L", "beyond its low limit 3.0 mg/L"),
        ("beyond its high limit 3.0 degC/h", "beyond its high limit 3.0 degC/h"),
        ("by anna: told a limit 26 degC", "by anna: told a limit 26 degC"),
    ],
)
def test_a_reason_is_in_the_keepers_units_and_a_persons_words_are_not_touched(why: str, shown: str) -> None:
    """Limits with their offset, differences by scale alone; 26.0 °C is 78.8 °F."""
    plan = Plan("x", "UTC", (DOOR,), temperature_unit="degF", volume_unit="gal")
    assert show_why(plan, why) == shown


def test_a_message_says_yes_or_no_of_a_contact_in_its_own_language() -> None:
    """When it is over, too."""
    opened = rule("band", "a", point="door", high="0.5", priority="critical", title="Door open: {value}")
    plan = Plan("x", "UTC", (DOOR,), (opened,), persons=(ANNA,), settle=0, texts={"yes": "ja", "no": "nein"})
    events = Engine(plan, at(0)).step([block("door", [at(0), at(60)], [1, 0])], [], at(61))
    first, over = notices(events)
    assert first.body["title"] == "Door open: ja"
    assert over.body["text"].endswith("Door open: nein.")


# --- other words


def test_texts_can_be_replaced_without_code() -> None:
    """Any of them; the others stay English."""
    texts = {"first": "Zuerst: {do}", "since": "{says} seit {since}."}
    plan = site([high("a", do="lüften.")], texts=texts)
    assert body(plan) == "p 11.0 °C seit 12:00. Zuerst: lüften."
    assert title(plan) == "p too high: 11.0 °C"
