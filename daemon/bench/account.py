"""What was left out of recorded files, and what does a recording lack?"""

from __future__ import annotations

from collections.abc import Sequence

from adapters.recordings.recording import BadLine
from daemon.bench.source import Recorded
from demo_replay.moments import show_span
from demo_replay.service import InService
from rules.durations import HOUR
from rules.events import show_time

_MOST_BAD_LINES = 5
"""With a reason; the others by their numbers."""
_MOST_STRETCHES = 40
"""Of bad lines that follow on one another."""
_LONGEST_GAP = HOUR
"""Between two files; a longer one is told."""


def account(recorded: Recorded) -> list[str]:
    """What was left out of the files, a line each."""
    recording = recorded.recording
    if recording is None:
        return []
    lines = []
    if recording.bad_count:
        lines.append(f"{counted(recording.bad_count, 'line')} could not be read and left out:")
        lines += [f"  {bad.file}:{bad.line}: {bad.reason}" for bad in recording.bad_lines[:_MOST_BAD_LINES]]
        if recording.bad_count > _MOST_BAD_LINES:
            numbers = _numbers(recording.bad_lines[_MOST_BAD_LINES:])
            more = recording.bad_count - _MOST_BAD_LINES
            lines.append(f"  and {more:,} more, {numbers}; --strict stops at the first")
    if recording.ignored:
        names = ", ".join(f"{name} ({count:,})" for name, count in sorted(recording.ignored.items()))
        lines.append(f"Readings of points that the site file lacks are left out: {names}")
    if recording.repeats:
        count = recording.repeats
        lines.append(f"{counted(count, 'reading')} left out: the point had one at that time before")
    if recording.twice:
        lines.append(
            f"{counted(recording.twice, 'local time')} within what the clock change repeats, taken as before the "
            "change; to tell them apart write an offset, as in 2026-10-25T01:30:00+01:00"
        )
    for last, begin in recording.gaps(_LONGEST_GAP):
        lines.append(
            f"Nothing was recorded between {show_time(last)} and {show_time(begin)} ({show_span(begin - last)}), which "
            "is judged as silence; replay the recordings one by one to judge each by itself"
        )
    if recording.rounded:
        lines.append(f"{counted(recording.rounded, 'value')} rounded to the point's resolution")
    return lines


def _numbers(bad_lines: Sequence[BadLine]) -> str:
    """Where they stand, as in `noon.csv:67-68,71`."""
    stretches: list[tuple[str, int, int]] = []
    for bad in bad_lines:
        if stretches and stretches[-1][0] == bad.file and bad.line <= stretches[-1][2] + 1:
            stretches[-1] = (bad.file, stretches[-1][1], bad.line)
        else:
            stretches.append((bad.file, bad.line, bad.line))
    files: dict[str, list[str]] = {}
    for file, first, last in stretches[:_MOST_STRETCHES]:
        files.setdefault(file, []).append(f"{first}" if first == last else f"{first}-{last}")
    told = " ".join(f"{file}:{','.join(numbers)}" for file, numbers in files.items())
    return told + (" ..." if len(stretches) > _MOST_STRETCHES else "")


def out_of_service(service: InService) -> list[str]:
    """What is out of service for want of readings, a line each."""
    lines = []
    if service.missing:
        lines.append(f"Not in the recording, so out of service: {', '.join(service.missing)}")
    if service.rules:
        lines.append(f"  rules that rest on them alone: {', '.join(service.rules)}")
    if service.stages:
        lines.append(f"  stages: {', '.join(service.stages)}")
    lines += [f"  {rule} is judged without {', '.join(lacking)}" for rule, lacking in service.thinned.items()]
    return lines


def counted(count: int, word: str) -> str:
    """`1 line`, `2,310 lines`."""
    return f"{count:,} {word}" + ("" if count == 1 else "s")
