"""How long to wait before the next try, so that a dead service is neither hammered nor forgotten?"""

from __future__ import annotations

import random

FIRST, CAP, CRITICAL_CAP = 2.0, 300.0, 60.0
"""Seconds."""


def wait_before(try_number: int, rng: random.Random, cap: float = CAP) -> float:
    """Seconds to wait after the try of that number (from 1) failed: doubling from FIRST up to `cap`, at random between
    half of it and the whole, so that several do not come back in step."""
    longest = min(cap, FIRST * 2.0 ** min(try_number - 1, 30))
    return rng.uniform(longest / 2, longest)
