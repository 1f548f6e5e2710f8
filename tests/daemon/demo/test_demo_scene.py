"""Is it known which alarms stand, and which points are abnormal for them?"""

from __future__ import annotations

from typing import Any

from daemon.demo.scene import Alarms
from daemon.site.load import load_site
from demo_replay import days

PLAN = load_site(days.SITE).plan


def _line(rule: str, side: str, state: str, priority: str) -> dict[str, Any]:
    return {"type": "alarm", "rule": rule, "side": side, "state": state, "priority": priority}


def _after(*lines: dict[str, Any]) -> Alarms:
    alarms = Alarms(PLAN)
    for line in lines:
        alarms.hear(line)
    return alarms


STOPPED = _line("loop.stopped", "stopped", "unacknowledged", "critical")
OXYGEN = _line("tank.oxygen_warn", "low", "suppressed", "medium")
FLOW = _line("loop.slow", "low", "unacknowledged", "medium")


NOTICE: dict[str, Any] = {
    "type": "notice",
    "rule": "loop.stopped",
    "side": "stopped",
    "purpose": "first",
    "title": "Water has stopped",
}


def test_at_first_nothing_stands() -> None:
    """No alarm, no abnormal point."""
    assert (_after().told(), _after().priorities()) == ([], {})


def test_those_that_somebody_is_told_of_stand_worst_first() -> None:
    """What another explains is not among them."""
    assert _after(FLOW, OXYGEN, STOPPED).names() == ["loop.stopped", "loop.slow (low)"]


def test_a_point_shows_the_worst_of_its_alarms() -> None:
    """Evidence that speaks against an alarm is not abnormal; what is explained is."""
    marked = _after(STOPPED, FLOW, OXYGEN).priorities()
    assert marked == {
        "pump.current": "critical",
        "loop.flow": "critical",
        "loop.flow_share": "medium",
        "tank.level": "critical",
        "tank.oxygen": "medium",
    }


def test_an_alarm_that_returned_stands_no_more() -> None:
    """Whether it was told or not."""
    alarms = _after(STOPPED, OXYGEN)
    alarms.hear(_line("loop.stopped", "stopped", "returned", "critical"))
    alarms.hear(_line("tank.oxygen_warn", "low", "normal", "medium"))
    assert (alarms.told(), alarms.priorities()) == ([], {})


def test_other_events_are_no_alarms() -> None:
    """Neither decisions nor messages."""
    assert _after({"type": "decision", "stage": "vents.cool"}, NOTICE).told() == []


def test_an_alarm_is_called_as_in_its_first_message() -> None:
    """A keeper knows it by that; the later message that it is over changes nothing."""
    over = NOTICE | {"purpose": "recovery", "title": "Over: Water has stopped"}
    assert _after(STOPPED, NOTICE, FLOW, over).names() == ["Water has stopped", "loop.slow (low)"]
