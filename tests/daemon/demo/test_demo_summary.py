"""Does the closing summary say truly what happened, and where to go on?"""

from __future__ import annotations

import io
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from daemon.demo import summary
from daemon.demo.folder import DemoFolder
from daemon.demo.performance import Performance
from daemon.demo.scene import Delivered
from daemon.demo.summary import Outcome, command_name, print_summary, summary_line
from daemon.site.load import load_site
from demo_replay import days
from demo_replay.labels import Label
from rules.events import show_time

PLAN = load_site(days.SITE).plan
TRIP = 1_775_178_720_000
"""2026-04-03 02:12 in Ireland."""
LABEL = Label(TRIP, TRIP + 3_600_000, "loop.stopped", "pump tripped")


def _alarm(t: int, rule: str = "loop.stopped", state: str = "unacknowledged", why: str = "no flow") -> dict[str, Any]:
    line: dict[str, Any] = {"t": show_time(t), "type": "alarm", "rule": rule, "side": "stopped", "was": "normal"}
    return line | {"state": state, "priority": "critical", "why": why}


def _outcome(
    logged: Sequence[dict[str, Any]],
    labels: Sequence[Label] = (LABEL,),
    replayed: Sequence[dict[str, Any]] | None = None,
    delivered: Sequence[Delivered] = (),
) -> Outcome:
    return Outcome(
        folder=DemoFolder(Path("tidebed-demo"), "pump_trip"),
        plan=PLAN,
        labels=labels,
        performance=Performance(readings=76_779, seconds=92.3, delivered=list(delivered)),
        replayed=logged if replayed is None else replayed,
        logged=logged,
    )


def _told(outcome: Outcome) -> str:
    console = Console(file=io.StringIO(), width=80, highlight=False, markup=False, emoji=False)
    print_summary(console, outcome)
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue()


def _on_the_phone(t: int) -> Delivered:
    return Delivered(t, 0.84, "Keeper", "Water has stopped", "", "critical", "first")


def test_what_was_marked_is_answered_by_the_alarm_and_its_delay() -> None:
    """When it happened, how long until the alarm, and how soon it was on the phone."""
    told = _told(_outcome([_alarm(TRIP + 72_000)], delivered=[_on_the_phone(TRIP + 72_000)]))
    assert "02:12  pump tripped" in told
    assert "02:13  ◆ critical alarm 72 s after it; on the phone 0.8 s later (real time)" in told
    assert "76,779 readings came in over MQTT in 92 s; 1 message reached a phone." in told
    assert "1 alarm, 0 more kept quiet" in told


def test_an_alarm_of_which_nobody_is_messaged_is_said_to_be_in_the_log() -> None:
    """As those of low priority; a message of another moment does not count for it."""
    told = _told(_outcome([_alarm(TRIP + 72_000)], delivered=[_on_the_phone(TRIP + 73_000)]))
    assert "72 s after it; in the log, nobody is to be messaged" in told


def test_an_alarm_that_another_explains_is_said_to_be_kept_quiet() -> None:
    """It was noticed, and nobody was bothered."""
    alarm = _alarm(TRIP + 720_000, state="suppressed", why="explained by mains.off, mains.breaker")
    told = _told(_outcome([alarm]))
    assert "02:24    noticed 12 min after it, and kept quiet: explained by mains.off" in told
    assert "0 alarms, 1 more kept quiet" in told


@pytest.mark.parametrize("t", [TRIP - 1, LABEL.end_ms + 1])
def test_an_alarm_outside_its_time_answers_nothing(t: int) -> None:
    """One from before or after is no answer, and that is said."""
    told = _told(_outcome([_alarm(t)]))
    assert "no alarm of loop.stopped while it lasted" in told


@pytest.mark.parametrize("t", [TRIP, LABEL.end_ms])
def test_an_alarm_at_either_end_answers(t: int) -> None:
    """Both ends belong to what is marked."""
    assert "no alarm" not in _told(_outcome([_alarm(t)]))


def test_an_ordinary_day_is_said_to_be_one() -> None:
    """Nothing was marked."""
    told = _told(_outcome([], labels=()))
    assert "an ordinary day" in told
    assert "--set" not in told


def test_a_replay_that_says_the_same_is_told_with_its_count() -> None:
    """All of it, in order."""
    assert "A replay of the day says the same: all 1 alarms, decisions and messages." in _told(_outcome([_alarm(TRIP)]))


@pytest.mark.parametrize(
    ("replayed", "difference"),
    [
        ([_alarm(TRIP, state="suppressed")], "the daemon said alarm loop.stopped unacknowledged, the replay alarm"),
        ([], "1 events of the daemon, 0 of the replay"),
    ],
)
def test_a_replay_that_says_otherwise_is_told_with_the_first_difference(
    replayed: list[dict[str, Any]], difference: str
) -> None:
    """It is not the same, and where it differs is shown."""
    outcome = _outcome([_alarm(TRIP)], replayed=replayed)
    assert not outcome.same
    told = " ".join(_told(outcome).split())
    assert "says otherwise" in told
    assert difference in told


def test_files_and_next_steps_are_named_as_they_can_be_typed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Relative to where one stands, with the command as it was called."""
    monkeypatch.setattr(summary, "command_name", lambda: "tidebed")
    told = _told(_outcome([_alarm(TRIP)]))
    assert "In tidebed-demo/" in told
    for name in ("day.png", "site.toml", "pump_trip.csv.gz", "tidebed.sqlite", "daemon.log"):
        assert f"\n  {name} " in told
    assert "tidebed log tidebed-demo/site.toml" in told
    assert (
        'tidebed replay tidebed-demo/site.toml tidebed-demo/pump_trip.csv.gz --set "loop.stopped.on_delay=10 min"'
        in told
    )


def test_the_summary_as_json_has_what_a_script_needs() -> None:
    """Counts, whether a replay agrees, and the files."""
    line = summary_line(_outcome([_alarm(TRIP)], delivered=[_on_the_phone(TRIP)]))
    assert line == {
        "type": "summary",
        "day": "pump_trip",
        "readings": 76_779,
        "seconds": 92.3,
        "delivered": 1,
        "events": 1,
        "replay_is_the_same": True,
        "folder": "tidebed-demo",
        "picture": "tidebed-demo/day.png",
        "site": "tidebed-demo/site.toml",
        "recording": "tidebed-demo/pump_trip.csv.gz",
        "store": "tidebed-demo/tidebed.sqlite",
        "log": "tidebed-demo/daemon.log",
    }


def test_the_command_is_named_as_it_can_be_called_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By its name where the path finds it, by its place in a clone, or as a module."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", [str(tmp_path / ".venv" / "bin" / "tidebed")])
    monkeypatch.setenv("PATH", "")
    assert command_name() == ".venv/bin/tidebed"
    program = tmp_path / "bin" / "tidebed"
    program.parent.mkdir()
    program.touch(mode=0o755)
    monkeypatch.setenv("PATH", str(program.parent))
    assert command_name() == "tidebed"
    monkeypatch.setattr(sys, "argv", ["/somewhere/main.py"])
    assert command_name() == "python -m daemon.main"
