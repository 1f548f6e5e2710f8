"""What happened on the played day, how soon was it told, and where does a new user go on?"""

from __future__ import annotations

import shutil
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from daemon.demo.folder import DemoFolder, shown_path
from daemon.demo.performance import Performance
from daemon.demo.process import Line, instant
from daemon.demo.wording import MARKS, QUIET, STANDING, STYLES
from demo_replay.labels import Label
from demo_replay.moments import show_span
from rules.alarms import State
from rules.local_time import Zone
from rules.plan import Plan


@dataclass(frozen=True, slots=True)
class Outcome:
    """The end of a demonstration. same: whether a replay of the same recording said the same as the daemon did."""

    folder: DemoFolder
    plan: Plan
    labels: Sequence[Label]
    performance: Performance
    replayed: Sequence[Line]
    logged: Sequence[Line]

    @property
    def same(self) -> bool:
        """Whether every event is the same, in the same order."""
        return list(self.replayed) == list(self.logged)

    def alarm_of(self, label: Label) -> Line | None:
        """The first alarm of the label's rule while what it marks lasted."""
        return next((line for line in self.logged if _answers(line, label)), None)

    def counts(self) -> dict[str, int]:
        """What the daemon said, counted by type; of alarms, those raised as `told` and those explained as `quiet`."""
        found: Counter[str] = Counter()
        for line in self.logged:
            if line["type"] == "alarm" and State(line["was"]) is State.NORMAL:
                found["told" if State(line["state"]) is State.UNACKNOWLEDGED else "quiet"] += 1
            found[line["type"]] += 1
        return dict(found)


def _answers(line: Line, label: Label) -> bool:
    if line["type"] != "alarm" or line["rule"] != label.rule or State(line["state"]) not in STANDING:
        return False
    return label.start_ms <= instant(line) <= label.end_ms


def print_summary(console: Console, outcome: Outcome) -> None:
    """In 80 columns, for a keeper."""
    zone = Zone(outcome.plan.timezone)
    rows = _Rows(console)
    console.print()
    console.print(Text("What happened", "bold"))
    for label in outcome.labels:
        rows.print(f"{zone.moment(label.start_ms):%H:%M}", Text(label.note))
        rows.print(*_answer(outcome, label, zone))
    if not outcome.labels:
        rows.print("", Text("Nothing is marked in this recording: an ordinary day."))
    counts = outcome.counts()
    console.print()
    rows.print(
        "",
        Text(
            f"{_counted(counts.get('told', 0), 'alarm')}, {counts.get('quiet', 0)} more kept quiet as another explains "
            f"them; {_counted(counts.get('decision', 0), 'decision')} about the air (advice only)."
        ),
    )
    performance = outcome.performance
    again = sum(message.purpose == "repeat" for message in performance.delivered)
    reminders = f", {again} of them reminders, as nobody acknowledged" if again else ""
    rows.print(
        "",
        Text(
            f"{performance.readings:,} readings came in over MQTT in {performance.seconds:.0f} s; "
            f"{_counted(len(performance.delivered), 'message')} reached a phone{reminders}."
        ),
    )
    if outcome.same:
        events = len(outcome.logged)
        rows.print("", Text(f"A replay of the day says the same: all {events} alarms, decisions and messages."))
    else:
        rows.print("", Text(f"A replay of the day says otherwise: {_difference(outcome)}.", "red"))
    _print_files(console, outcome.folder)
    _print_next(console, outcome)


class _Rows:
    """A time and a text beside it, which goes on below itself where it is long."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def print(self, clock: str, text: Text) -> None:
        """One row."""
        table = Table.grid(padding=(0, 2))
        table.add_column(width=5)
        table.add_column(ratio=1)
        table.add_row(Text(clock), text)
        self._console.print(table)


def _answer(outcome: Outcome, label: Label, zone: Zone) -> tuple[str, Text]:
    """When and how what a label marks was noticed."""
    alarm = outcome.alarm_of(label)
    if alarm is None:
        return "", Text(f"no alarm of {label.rule} while it lasted", "red")
    t, priority = instant(alarm), alarm["priority"]
    after = show_span(t - label.start_ms)
    clock = f"{zone.moment(t):%H:%M}"
    if State(alarm["state"]) is State.SUPPRESSED:
        return clock, Text(f"  noticed {after} after it, and kept quiet: {str(alarm['why']).partition(',')[0]}", QUIET)
    text = Text(f"{MARKS[priority]} {priority} alarm {after} after it", STYLES[priority])
    sent = [one for one in outcome.performance.delivered if one.t == t and one.purpose in ("first", "repeat")]
    told = f"on the phone {sent[0].waited:.1f} s later (real time)" if sent else "in the log, nobody is to be messaged"
    text.append(f"; {told}", "")
    return clock, text


def _difference(outcome: Outcome) -> str:
    for daemon, replay in zip(outcome.logged, outcome.replayed, strict=False):
        if daemon != replay:
            return f"at {daemon['t']} the daemon said {_short(daemon)}, the replay {_short(replay)}"
    return f"{len(outcome.logged)} events of the daemon, {len(outcome.replayed)} of the replay"


def _short(line: Line) -> str:
    return " ".join(str(line[key]) for key in ("type", "rule", "stage", "state", "action", "person") if key in line)


def _print_files(console: Console, folder: DemoFolder) -> None:
    console.print()
    console.print(Text(f"In {shown_path(folder.root)}/", "bold"))
    for path, what in (
        (folder.picture, "the picture of the day"),
        (folder.site, "what is measured, the rules, who is told"),
        (folder.recording, "the recorded day"),
        (folder.store, "readings, alarms, decisions and messages, as kept"),
        (folder.log, "what the daemon said about itself"),
    ):
        console.print(f"  {path.name:<20} {what}")


def _print_next(console: Console, outcome: Outcome) -> None:
    command, site = command_name(), shown_path(outcome.folder.site)
    recording = shown_path(outcome.folder.recording)
    console.print()
    console.print(Text("Next", "bold"))
    rule = outcome.labels[0].rule if outcome.labels else ""
    console.print("  what was said, and why:")
    console.print(f"    {command} log {site}", soft_wrap=True)
    console.print("  the same day with another limit, and what that would have changed:")
    change = f' --set "{rule}.on_delay=10 min"' if rule else ""
    console.print(f"    {command} replay {site} {recording}{change}", soft_wrap=True)
    console.print("  another day:")
    console.print(f"    {command} demo --day {'frost' if outcome.folder.kind != 'frost' else 'hot'}", soft_wrap=True)


def summary_line(outcome: Outcome) -> dict[str, Any]:
    """The summary as one line of JSON."""
    performance = outcome.performance
    return {
        "type": "summary",
        "day": outcome.folder.kind,
        "readings": performance.readings,
        "seconds": round(performance.seconds, 1),
        "delivered": len(performance.delivered),
        "events": len(outcome.logged),
        "replay_is_the_same": outcome.same,
        "folder": shown_path(outcome.folder.root),
        "picture": shown_path(outcome.folder.picture),
        "site": shown_path(outcome.folder.site),
        "recording": shown_path(outcome.folder.recording),
        "store": shown_path(outcome.folder.store),
        "log": shown_path(outcome.folder.log),
    }


def command_name() -> str:
    """How this program can be called again from here."""
    called = Path(sys.argv[0])
    if called.name != "tidebed":
        return "python -m daemon.main"
    return "tidebed" if shutil.which("tidebed") else shown_path(called)


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
