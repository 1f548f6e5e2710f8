"""Which long series are likely to show a shortcut to be wrong? Random ones, with silences and a step that was cut."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from rules.block import Block
from rules.plan import PointPlan
from rules.running import Running
from rules.span import Span
from rules.track import Track

MINUTE = 60_000
HALF_HOUR = 30 * MINUTE


def series(seed: int, readings: int = 6000) -> Span:
    """Stretches that are calm, rough, stuck or stepping, evenly sent or with jitter, with some silences.

    The span of the second of two steps; sometimes nothing was heard in the first.
    """
    chance = np.random.default_rng(seed)
    stretches = chance.integers(2, 12)
    signs = chance.choice([-1, 1], stretches)
    moves = [sign * chance.choice([0, 0, 1, 1, 5, 40], chance.integers(200, 1200)) for sign in signs]
    steps = np.concatenate([np.where(chance.random(len(m)) < chance.choice([0, 0.02, 0.5]), m, 0) for m in moves])
    values = np.resize(np.cumsum(steps), readings) + chance.integers(-1, 2, readings) * chance.integers(0, 2)
    gaps = np.full(readings, MINUTE)
    if chance.random() < 0.6:
        gaps += chance.integers(-20_000, 20_000, readings)
    for at in chance.integers(1, readings, chance.integers(0, 4)):
        gaps[at] = chance.choice([2 * MINUTE, 5 * MINUTE, 300 * MINUTE])
    times = 1_000_000 + np.cumsum(gaps)
    track = Track(PointPlan("p", "level", "mm", Fraction(1), MINUTE, 4 * MINUTE), 0, 24 * HALF_HOUR)
    cut = int(chance.choice([0, 300]))
    upto = 0
    for part in (slice(0, cut), slice(cut, readings)):
        block = Block("p", times[part], values[part].astype(np.int64), np.full(len(times[part]), 2, np.uint8), True)
        before, upto = upto, int(times[part][-1]) if len(block) else upto
        if part.start and chance.random() < 0.3:
            upto += HALF_HOUR
        span = track.advance(block, before, upto, Running())
    return span
