"""Which true events happened on a simulated day?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_replay.kinds import JOINED, DayKind
from demo_replay.physics.chance import Floats
from demo_replay.works import Failure

HOUR = 3_600_000
MINUTE = 60_000


@dataclass(frozen=True, slots=True)
class Label:
    """A true event: ms UTC, the rule that should see it, and a note."""

    start_ms: int
    end_ms: int
    rule: str
    note: str


def labels(
    day: DayKind,
    failures: Sequence[Failure],
    truth: Mapping[str, Floats],
    steps: NDArray[np.int64],
    midnight: int,
    end: int,
) -> list[Label]:
    """What the day's marks mark, cut to its end, in order of time.

    failures: as they fell on this seed; truth: point -> true values float64[n] over steps (int64[n], ms UTC); midnight,
    from which hours count, and end in ms UTC.
    """
    found: list[Label] = []
    for mark in day.marks:
        if mark.failure is not None:
            spans = [_span(failures[mark.failure].start, failures[mark.failure].end, midnight)]
        elif mark.probe_fault is not None:
            fault = day.probe_faults[mark.probe_fault]
            spans = [_span(fault.start, fault.end, midnight)]
        else:
            column = truth[mark.truth]
            spans = _out_of_limit((column < mark.below) | (column > mark.above), np.append(steps, end), mark.lasting)
        found += [Label(first, min(last, end), mark.rule, mark.note) for first, last in spans]
    return sorted(found, key=lambda label: (label.start_ms, label.rule))


def _span(start: float, end: float, midnight: int) -> tuple[int, int]:
    return midnight + round(start * HOUR), midnight + round(end * HOUR)


def _out_of_limit(out: NDArray[np.bool_], times: NDArray[np.int64], lasting: float) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], out, [False]))))
    joined: list[tuple[int, int]] = []
    for start, end in times[edges].reshape(-1, 2).tolist():
        if joined and start - joined[-1][1] < JOINED * MINUTE:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return [(start, end) for start, end in joined if end - start >= lasting * MINUTE]
