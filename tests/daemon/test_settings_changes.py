"""Does the log say of a changed setting what it was and what it is?"""

from __future__ import annotations

import pytest

from daemon.settings_changes import settings_of, told_changes
from rules.conditions import KINDS
from rules.plan import Plan


def plan(**settings: object) -> Plan:
    """One band."""
    made = {"id": "tank.warm", "kind": "band", "point": "tank.temperature", "high": 26, **settings}
    return Plan("x", "UTC", (), (KINDS["band"].model_validate(made),))


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ({}, ""),
        ({"high": 27}, "tank.warm high 26 -> 27"),
        ({"on_delay": "10 min"}, "tank.warm on_delay unset -> 10 min"),
        ({"high": None, "low": 18}, "tank.warm low unset -> 18; tank.warm high 26 -> unset"),
        ({"priority": "log"}, "tank.warm priority unset -> log"),
        ({"do": "x" * 50}, "tank.warm do unset -> (long)"),
        ({"id": "tank.hot"}, "tank.hot is new; tank.warm is gone"),
    ],
)
def test_each_change_is_told_with_what_was_and_what_is(settings: dict[str, object], told: str) -> None:
    """Durations as they are written; what is at its default is unset."""
    assert told_changes(settings_of(plan()), settings_of(plan(**settings))) == told


def test_of_many_changes_the_rest_are_counted() -> None:
    """A new site file does not fill the log."""
    rules = tuple(
        KINDS["band"].model_validate({"id": f"r{n}", "kind": "band", "point": "p", "high": 1}) for n in range(20)
    )
    told = told_changes(settings_of(Plan("x", "UTC", ())), settings_of(Plan("x", "UTC", (), rules)))
    assert told.count("is new") == 12
    assert told.endswith("; and 8 more")
