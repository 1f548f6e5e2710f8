"""Is a night with a hundred messages told in a few rows?"""

from __future__ import annotations

import io

from rich.console import Console

from daemon.bench.report import print_report
from daemon.bench.source import Recorded
from demo_replay.replay import replay
from tests.replays import person, plan, recording, rule


def test_repeats_to_one_person_about_one_alarm_are_one_row() -> None:
    """From the first to the last; the last title counts, since it holds the value. Its end is a row of its own."""
    hot = rule(
        "band", "tank.hot", point="tank.temperature", high=26, priority="critical", title="Tank at {tank.temperature}"
    )
    source = recording({"tank.temperature": [270] * 32 + [275] * 20 + [250] * 10})
    replayed = replay(plan([hot], persons=[person("anna"), person("ben")]), source)
    out = io.StringIO()
    print_report(Console(file=out, width=100, highlight=False, markup=False), Recorded(source, ("noon.csv",)), replayed)
    lines = [" ".join(line.split()) for line in out.getvalue().splitlines()]
    told = lines[next(number for number, line in enumerate(lines) if line.startswith("Messages")) :]
    assert [line for line in told if "anna" in line] == [
        "2 Apr 10:00 anna Tank at 27.0 °C",
        "2 Apr 10:05 anna (10 repeats) Still: Tank at 27.5 °C",
        "2 Apr 10:52 anna Over: Tank",
    ]
    assert "10:50" in told
