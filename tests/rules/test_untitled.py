"""Is a rule without a title of its own told so that a keeper understands it at night, in the site's language?"""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from rules.settings import RuleSettings
from tests.rules.told import ANNA, Values, high, judged, message, notices, rule, site

NAMES = {"p": "Air", "q": "Floor"}
RISES: Values = {"p": {0: 9, 60: 11, 120: 9}, "q": {0: 9}}


def first(one: RuleSettings, values: Values = RISES, until: float = 600, *, contact: bool = False, **more: Any) -> Any:
    """The first message about a rule. contact: whether point p is one."""
    plan = site([one], names=NAMES, points=("p", "q"), gather="0 s", **more)
    if contact:
        points = tuple(dataclasses.replace(point, quantity="state", unit="1") for point in plan.points)
        plan = dataclasses.replace(plan, points=points)
    return message(plan, values, until).body


def test_a_contact_is_told_by_what_it_shows() -> None:
    """A wet floor is not "too high: yes"."""
    told = first(high("floor", high=0.5), {"p": {0: 0, 60: 1}}, contact=True)
    assert (told["title"], told["text"]) == ("Air: yes", "Air: yes since 12:01.")
    german = {"title.contact": "{point}: {value}", "yes": "ja", "since": "{says} seit {since}."}
    assert first(high("floor", high=0.5), {"p": {0: 0, 60: 1}}, contact=True, texts=german)["title"] == "Air: ja"


def test_a_silent_point_is_told_by_its_last_value_as_its_last() -> None:
    """Never as if it still read so; one that never said anything has none."""
    one = rule("silent", "air.silent", point="p", priority="critical")
    told = first(one, {"p": {0: 9}}, 7200, stale_after=60_000)
    assert (told["title"], told["text"]) == ("Air sends nothing", "Air was 9.0 °C, nothing since 12:01.")
    told = first(one, {"q": {0: 9}}, 7200, stale_after=60_000)
    assert told["text"] == "No reading of Air since 12:01."


def test_a_rule_about_other_rules_is_told_by_its_name_and_a_value() -> None:
    """And over by its name; not by the kind of its statement."""
    joined = rule("any_of", "house.odd", rules=["a"], priority="critical")
    plan = site([high("a", priority="log"), joined], names=NAMES)
    told, over = notices(judged(plan, RISES, 600))
    assert (told.body["title"], over.body["title"]) == ("house.odd: Air 11.0 °C", "Over: house.odd")


@pytest.mark.parametrize(
    ("more", "air", "title"),
    [
        ({"span": 3}, 15, "Probes disagree: Air, Floor"),
        ({"span": 1, "too_close": True}, 9, "Probes show the same: Air, Floor"),
    ],
)
def test_probes_that_disagree_are_told_with_the_value_of_each(more: dict[str, Any], air: int, title: str) -> None:
    """By name."""
    one = rule("spread", "probes", points=["p", "q"], priority="critical", **more)
    told = first(one, {"p": {0: air}, "q": {0: 9}})
    assert told["title"] == title
    assert told["text"] == f"Air {air}.0 °C, Floor 9.0 °C since 12:00."


def test_a_task_that_is_due_is_told_by_its_kind_and_how_often() -> None:
    """In any language; a title of the keeper's own replaces it."""
    task: dict[str, Any] = {"note": "solids_drained", "every": "4 d", "point": "p", "priority": "critical"}
    told = first(rule("overdue", "filter.due", **task), {"p": {0: 9}}, 5 * 86_400)
    assert told["title"] == "Due: solids drained"
    assert told["text"].startswith("solids drained: to be done every 4 d; due since ")
    german = {"title.overdue": "Fällig: {task}", "says.overdue": "{task}: alle {every} zu tun; fällig"}
    told = first(rule("overdue", "filter.due", **task), {"p": {0: 9}}, 5 * 86_400, texts=german)
    assert told["title"] == "Fällig: solids drained"
    assert told["text"].startswith("solids drained: alle 4 d zu tun; fällig since")
    own = rule("overdue", "filter.due", **task, title="Drain the filter")
    assert first(own, {"p": {0: 9}}, 5 * 86_400)["title"] == "Drain the filter"


def test_stopped_water_without_a_title_is_named_as_a_cause() -> None:
    """Not by the probe that tells of it."""
    stopped = rule(
        "stopped", "water", evidence=[{"point": "q", "under": 5}], needed=1, explains=["o"], priority="critical"
    )
    plan = site([stopped, high("o", never_suppressed=True)], [ANNA], names=NAMES, repeat={})
    texts = [event.body["text"] for event in notices(judged(plan, {"q": {0: 4}, "p": {0: 9, 60: 11}}, 120))]
    assert any("Cause: Water has stopped." in text for text in texts)
