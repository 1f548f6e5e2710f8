"""Is the played day told in lines: in local time, in order, and as JSON where that is wanted?"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from rich.console import Console

from daemon.demo.live import LiveView, panel, shown_value
from daemon.demo.scene import Alarms, Delivered, Scene
from daemon.demo.view import JsonView, PlainView, View
from daemon.site.load import load_site
from demo_replay import days
from demo_replay.script import Message
from rules.durations import HOUR, MINUTE
from rules.flags import Flag

PLAN = load_site(days.SITE).plan
MIDNIGHT = 1_775_170_800_000
"""2026-04-03 00:00 in Ireland, 2026-04-02 23:00 UTC."""
ALARM: dict[str, Any] = {
    "t": "2026-04-03T01:13:12.023Z",
    "type": "alarm",
    "rule": "loop.stopped",
    "side": "stopped",
    "was": "normal",
    "state": "unacknowledged",
    "priority": "critical",
    "why": "pump.current under 0.1, loop.flow under 2.0, tank.level under 85.9",
}


def _console(*, terminal: bool = False, width: int = 80, height: int = 40) -> Console:
    return Console(
        file=io.StringIO(),
        width=width,
        height=height,
        force_terminal=terminal,
        no_color=True,
        highlight=False,
        markup=False,
        emoji=False,
        _environ={},
    )


def _said(console: Console) -> str:
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue()


def _reading(point: str, time: int, counts: int, flag: Flag = Flag.NOT_EVALUATED) -> tuple[str, Message]:
    return point, Message(point, time, counts, flag, b"")


def _scene(now: int, judged: int | None = None, *readings: tuple[str, Message]) -> Scene:
    return Scene(
        now=now,
        judged=now if judged is None else judged,
        speed=600,
        share=0.25,
        seconds_left=69,
        sent=1000,
        latest=dict(readings),
    )


def _message(purpose: str = "first", priority: str = "critical") -> Delivered:
    return Delivered(
        t=MIDNIGHT + 2 * HOUR + 13 * MINUTE,
        waited=0.84,
        owner="Keeper",
        title="Water has stopped",
        body="Flow 0.0 L/min.",
        priority=priority,
        purpose=purpose,
    )


def test_an_event_is_a_line_that_begins_with_the_local_time() -> None:
    """01:13 UTC is 02:13 in Ireland in April; the line is not broken where there is no terminal."""
    console = _console()
    PlainView(console, PLAN).event(ALARM)
    assert _said(console) == (
        "02:13 ◆ critical alarm  loop.stopped: pump.current under 0.1, loop.flow under 2.0, tank.level under 85.9\n"
    )


def test_on_a_terminal_a_long_line_goes_on_below_its_own_column() -> None:
    """Nothing but the text itself is broken."""
    console = _console(terminal=True)
    PlainView(console, PLAN).event(ALARM)
    first, second = re.sub(r"\x1b\[[0-9;]*m", "", _said(console)).splitlines()
    assert first.startswith("02:13 ◆ critical alarm  loop.stopped: pump")
    assert len(first) <= 80
    assert second.startswith(" " * 24)
    assert second.strip().endswith("under 85.9")


def test_what_tells_nothing_makes_no_line() -> None:
    """A message is shown when it arrives."""
    console = _console()
    PlainView(console, PLAN).event({"t": ALARM["t"], "type": "notice"})
    assert _said(console) == ""


def test_the_first_message_is_shown_as_on_a_phone() -> None:
    """With its mark when it is critical, and how soon it came."""
    console = _console()
    PlainView(console, PLAN).delivered(_message())
    said = _said(console)
    assert "│ ◆ Water has stopped " in said
    assert "│                 02:13                  │" in said
    assert "on the phone 0.8 s later (real time)" in said


@pytest.mark.parametrize(
    ("purpose", "told"),
    [
        ("next", "02:13   message         to Keeper, as nobody acknowledged: Water has stopped\n"),
        ("recovery", "02:13   message         to Keeper: Water has stopped\n"),
    ],
)
def test_later_messages_are_a_line_each(purpose: str, told: str) -> None:
    """The one who is next, and that it is over."""
    console = _console()
    PlainView(console, PLAN).delivered(_message(purpose))
    assert _said(console) == told


def _again(view: View, minutes: range, owner: str = "Keeper") -> None:
    for minute in minutes:
        view.delivered(replace(_message("repeat"), t=MIDNIGHT + 2 * HOUR + minute * MINUTE, owner=owner))


def test_reminders_are_told_together_until_another_message_comes() -> None:
    """An alarm that nobody answers is sent again every few minutes, to each person; that is one line."""
    console = _console()
    view = PlainView(console, PLAN)
    _again(view, range(10, 30, 5))
    _again(view, range(25, 26), "Neighbour")
    view.event(ALARM)
    assert "reminder" not in _said(console)
    view.delivered(_message("recovery"))
    told = _said(console).splitlines()
    assert told[1] == "02:25   reminder        to Keeper and Neighbour, 5 since 02:10: Water has stopped"
    view.delivered(_message("recovery"))
    assert _said(console).count("reminder") == 1


@pytest.mark.parametrize(
    "made", [lambda c: PlainView(c, PLAN), lambda c: LiveView(c, PLAN, "x")], ids=["plain", "live"]
)
def test_reminders_are_told_within_the_hour_and_at_the_end(made: Callable[[Console], View]) -> None:
    """However long nothing else comes."""
    console = _console(terminal=False)
    with made(console) as view:
        _again(view, range(0, 61, 5))
        assert "reminder" not in _said(console)
        _again(view, range(65, 66))
        assert "to Keeper, 13 since 02:00: Water" in _said(console)
    assert "03:05   reminder        to Keeper: Water has stopped" in _said(console)


def test_how_things_go_is_told_every_three_hours_once_it_is_judged() -> None:
    """Not at the start; with the readings of the moment; after the daemon has come so far, and only once."""
    console = _console()
    view = PlainView(console, PLAN)
    flow = _reading("loop.flow", MIDNIGHT, 172)
    view.show(_scene(MIDNIGHT + HOUR - 1, None, flow))
    assert _said(console) == ""
    view.show(_scene(MIDNIGHT + HOUR, MIDNIGHT + HOUR - 1, flow, _reading("tank.oxygen", MIDNIGHT, 0, Flag.MISSING)))
    assert _said(console) == ""
    view.show(_scene(MIDNIGHT + 2 * HOUR, MIDNIGHT + HOUR, _reading("loop.flow", MIDNIGHT, 0)))
    view.show(_scene(MIDNIGHT + 2 * HOUR, None, flow))
    assert _said(console) == "01:00   so far          Flow 17.2 L/min\n"


def test_json_lines_are_the_daemons_own_and_what_was_delivered() -> None:
    """Nothing else is printed, and each line is whole."""
    console = _console(width=20)
    with JsonView(console) as view:
        view.say("hello")
        view.event(ALARM)
        view.show(_scene(MIDNIGHT))
        view.delivered(_message())
    event, delivered = (json.loads(line) for line in _said(console).splitlines())
    assert event == ALARM
    assert delivered == {
        "t": "2026-04-03T01:13:00.000Z",
        "type": "delivered",
        "to": "Keeper",
        "title": "Water has stopped",
        "text": "Flow 0.0 L/min.",
        "purpose": "first",
        "waited_s": 0.84,
    }


def _panel(width: int, height: int, *lines: dict[str, Any]) -> str:
    alarms = Alarms(PLAN)
    for line in lines:
        alarms.hear(line)
    latest = [_reading(point.id, MIDNIGHT - 7_000, 172) for point in PLAN.points]
    console = _console(width=width, height=height)
    console.print(panel(PLAN, "The night", _scene(MIDNIGHT, None, *latest), alarms, width, height))
    return _said(console)


@pytest.mark.parametrize(("width", "height"), [(60, 20), (78, 24), (80, 24), (90, 30), (100, 40), (132, 50), (250, 90)])
def test_the_panel_fits_its_terminal(width: int, height: int) -> None:
    """No line is too long, and a phone's screen has room above it where the terminal is of a usual height."""
    rows = _panel(width, height, ALARM).splitlines()
    assert max(len(row.rstrip()) for row in rows) <= width
    assert len(rows) <= max(height - 15, 10)


def test_the_panel_shows_time_progress_and_readings_with_unit_and_age() -> None:
    """By hand: the local time, how much is done, and one reading."""
    said = _panel(100, 40)
    assert "Fri 3 Apr 00:00" in said
    assert "25%, 1:09 left" in said
    assert "600 times as fast" in said
    assert "No alarm stands." in said
    assert any("Flow" in row and "17.2 L/min    7 s" in row for row in said.splitlines())


def test_what_is_abnormal_is_marked_and_is_never_left_out() -> None:
    """In a low terminal the points of a standing alarm come before others."""
    said = _panel(60, 20, ALARM)
    assert said.splitlines()[-1].rstrip() == "◆ loop.stopped"
    assert [row.split("  ")[0] for row in said.splitlines() if row.startswith("◆ ")][:-1] == [
        "◆ Flow",
        "◆ Pump current",
        "◆ Fish tank level",
    ]


def test_a_wide_panel_has_the_limits_beside_the_readings() -> None:
    """As every number of the keeper's has where there is room."""
    assert "over 5.0 mg/L" in _panel(140, 50)
    assert "over 5.0 mg/L" not in _panel(100, 50)


def test_a_state_is_shown_as_yes_or_no_and_a_missing_reading_as_such() -> None:
    """One and zero mean nothing to a keeper."""
    mains, flow = PLAN.point("mains.present"), PLAN.point("loop.flow")
    shown = [shown_value(PLAN, mains, _reading("mains.present", 0, counts)[1]) for counts in (1, 0)]
    assert shown == ["yes", "no"]
    assert shown_value(PLAN, flow, _reading("loop.flow", 0, 0, Flag.MISSING)[1]) == "no value"


def test_the_live_view_scrolls_lines_above_its_panel_and_leaves_only_them() -> None:
    """What came stays on the terminal; the panel is gone at the end."""
    console = _console(terminal=True, width=100)
    with LiveView(console, PLAN, "The night") as view:
        view.say("It begins.")
        view.show(_scene(MIDNIGHT))
        view.event(ALARM)
        view.show(_scene(MIDNIGHT + 3 * HOUR))
        view.delivered(_message())
    said = _said(console)
    for told in ("It begins.", "critical alarm", "Tidebed", "◆ loop.stopped   "):
        assert told in said
    assert "so far" not in said
    assert "\x1b[1A\x1b[2K" in said[said.rindex("◆ loop.stopped   ") :]
