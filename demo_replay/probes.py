"""What do the probes send of what is true? Sampled, noisy, rounded to their resolution, and sometimes wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from demo_replay import place
from demo_replay.physics.chance import Chance, Floats

TICK = 10
"""ms: the step of a board's clock."""

Column = tuple[NDArray[np.int64], NDArray[np.int64]]
"""Times in ms UTC and counts of the point's resolution."""


@dataclass(frozen=True, slots=True)
class ProbeFault:
    """How a probe lies from `start` to `end` (hours after local midnight of the first day).

    silent: sends nothing; stuck: repeats its last value; spikes: a `share` of the readings is off by up to `value`;
    fixed: a `share` of the readings is `value` (a dead meter's 0, a one-wire probe's 85 or -127).
    """

    kind: Literal["silent", "stuck", "spikes", "fixed"]
    point: str
    start: float
    end: float
    value: float = 0.0
    share: float = 1.0


def polls(board: str, begin: int, end: int, seed: int) -> NDArray[np.int64]:
    """Times (ms UTC) at which a board polls between `begin` and `end`: every interval, slightly early or late."""
    b = place.BOARDS[board]
    chance = Chance(seed, f"board {board}")
    somewhere = int(chance.uniform(1)[0] * b.interval * 0.5) // TICK * TICK
    offset = (somewhere if b.first is None else b.first) + b.jitter
    nominal = np.arange(begin + offset, end - b.jitter, b.interval, dtype=np.int64)
    late = np.floor(chance.uniform(len(nominal), -b.jitter / TICK, b.jitter / TICK)).astype(np.int64)
    return nominal + late * TICK


def measure(
    truth: dict[str, Floats], steps: NDArray[np.int64], begin: int, end: int, midnight: int, seed: int,
    faults: Sequence[ProbeFault],
) -> dict[str, Column]:  # fmt: skip
    """What every probe sends between `begin` and `end` (ms UTC), given the true columns over `steps` (int64[n], ms).

    `midnight`: ms UTC from which the hours of `faults` count. States take the newest true value, others lie on the line
    between two steps.
    """
    sent: dict[str, Column] = {}
    by_board = {board: polls(board, begin, end, seed) for board in place.BOARDS}
    kept = {
        board: Chance(seed, f"lost {board}").uniform(len(times)) >= place.BOARDS[board].lost
        for board, times in by_board.items()
    }
    for name, probe in place.PROBES.items():
        arrived = kept[probe.board].copy()
        arrived[np.arange(len(arrived)) % probe.every != 0] = False
        times = by_board[probe.board][arrived]
        if probe.info.quantity == "state":
            true = truth[name][np.searchsorted(steps, times, side="right") - 1]
        else:
            true = np.interp(times, steps, truth[name])
        chance = Chance(seed, f"probe {name}")
        shown = true + probe.noise * chance.bell(len(times))
        if probe.low is not None:
            shown = np.maximum(shown, probe.low)
        resolution = probe.info.resolution
        counts = np.rint(shown * resolution.denominator / resolution.numerator).astype(np.int64)
        sent[name] = _lie(name, (times, counts), midnight, [f for f in faults if f.point == name], chance)
    return sent


def _lie(name: str, column: Column, midnight: int, faults: Sequence[ProbeFault], chance: Chance) -> Column:
    times, counts = column
    resolution = place.PROBES[name].info.resolution
    for fault in faults:
        hours = (times - midnight) / 3_600_000
        span = (hours >= fault.start) & (hours < fault.end)
        hit = span & (chance.uniform(len(times)) < fault.share)
        if fault.kind == "silent":
            times, counts = times[~span], counts[~span]
        elif fault.kind == "stuck" and span.any():
            counts[span] = counts[int(np.argmax(span))]
        elif fault.kind == "fixed":
            counts[hit] = round(fault.value / resolution)
        elif fault.kind == "spikes":
            off = chance.uniform(len(times), 0.5, 1.0) * np.where(chance.uniform(len(times)) < 0.7, 1.0, -1.0)
            counts[hit] += np.rint(off[hit] * float(fault.value / resolution)).astype(np.int64)
    return times, counts
