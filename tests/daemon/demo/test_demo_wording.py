"""Does a keeper understand each line that comes?"""

from __future__ import annotations

from typing import Any

import pytest

from daemon.demo.wording import QUIET, Told, called, told

ALARM: dict[str, Any] = {
    "t": "2026-04-03T01:13:12.023Z",
    "type": "alarm",
    "rule": "loop.stopped",
    "side": "stopped",
    "was": "normal",
    "state": "unacknowledged",
    "priority": "critical",
    "why": "loop.flow under 2.0; against it: bed1.level moved 3.0 over 10 min",
}


def test_an_alarm_is_told_with_mark_priority_and_reason() -> None:
    """Shape, word and colour; what speaks against it is left to the log."""
    assert told(ALARM) == Told("◆ critical alarm", "loop.stopped: loop.flow under 2.0", "bold red")


@pytest.mark.parametrize(("priority", "mark"), [("high", "▲"), ("medium", "●"), ("low", "○")])
def test_each_priority_has_a_shape_of_its_own(priority: str, mark: str) -> None:
    """The mark tells it without colour."""
    line = told(ALARM | {"priority": priority})
    assert line is not None
    assert line.what == f"{mark} {priority} alarm"


def test_what_another_explains_is_grey() -> None:
    """It says that it was kept quiet, and the first that explains it."""
    line = told(ALARM | {"state": "suppressed", "why": "explained by mains.off, mains.breaker"})
    assert line == Told("  kept quiet", "loop.stopped: explained by mains.off", QUIET)


@pytest.mark.parametrize(
    ("was", "state", "style"), [("unacknowledged", "returned", ""), ("suppressed", "normal", QUIET)]
)
def test_the_end_of_an_alarm_is_told(was: str, state: str, style: str) -> None:
    """Grey where nobody had been told."""
    assert told(ALARM | {"was": was, "state": state, "why": "back to normal"}) == Told("  over", "loop.stopped", style)


def test_other_states_are_told_by_their_name() -> None:
    """Such as shelved."""
    assert told(ALARM | {"state": "shelved"}) == Told("  shelved", "loop.stopped")


@pytest.mark.parametrize(("action", "word"), [("engage", "on"), ("release", "off"), ("hold", "held back")])
def test_a_decision_is_told_as_advice(action: str, word: str) -> None:
    """What to do, and why."""
    line = {"type": "decision", "does": "open_vents", "action": action, "why": "house.temperature above 27.0"}
    assert told(line) == Told("  advice", f"open vents: {word} (house.temperature above 27.0)")


def test_a_message_is_shown_when_it_arrives_and_not_before() -> None:
    """No line for it."""
    assert told({"type": "notice"}) is None


def test_anything_else_is_told_in_grey() -> None:
    """A fault of a rule, an act."""
    assert told({"type": "fault", "rule": "tank.warm", "why": "broken"}) == Told("  fault", "tank.warm broken", QUIET)
    assert told({"type": "act", "who": "keeper"}) == Told("  act", "keeper", QUIET)
    assert told({"type": "off"}) == Told("  off", "", QUIET)


@pytest.mark.parametrize(
    ("rule", "side", "name"),
    [
        ("loop.stopped", "stopped", "loop.stopped"),
        ("tank.oxygen_low", "low", "tank.oxygen_low"),
        ("loop.slow", "low", "loop.slow (low)"),
    ],
)
def test_a_side_is_named_where_the_rule_does_not_tell_it(rule: str, side: str, name: str) -> None:
    """`low` in `loop.slow` is no word of its own."""
    assert called({"rule": rule, "side": side}) == name
