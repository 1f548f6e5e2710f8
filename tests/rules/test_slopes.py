"""Are slopes exact whatever the size of times and values? Against the same sums in fractions, window by window."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from rules.windows import slopes

EPOCH = 1_780_000_000_000
DAY = 86_400_000


def plainly(times: list[int], values: list[int]) -> Fraction | None:
    """The least-squares slope by its definition: covariance over variance. None where all times are one."""
    mean_t, mean_v = Fraction(sum(times), len(times)), Fraction(sum(values), len(values))
    variance = sum((t - mean_t) ** 2 for t in times)
    covariance = sum(((t - mean_t) * (v - mean_v) for t, v in zip(times, values, strict=True)), Fraction(0))
    return covariance / variance if variance else None


@given(
    step=st.sampled_from([1, 1_000, 60_000, DAY, 90 * DAY]),
    size=st.sampled_from([3, 10**6, 2**52]),
    length=st.sampled_from([2, 40]),
    seed=st.integers(0, 2**32),
)
@example(step=90 * DAY, size=2**52, length=40, seed=0)
@example(step=DAY, size=3, length=40, seed=0)
def test_a_slope_is_exact_at_any_size(step: int, size: int, length: int, seed: int) -> None:
    """Windows of milliseconds or years, of counts up to 2^52, over more windows than are worked on at one time."""
    rng = np.random.default_rng(seed)
    many = 600
    times = EPOCH + np.cumsum(rng.integers(1, step + 1, many))
    values = rng.integers(-size, size + 1, many)
    low = np.maximum(np.arange(length, many) - rng.integers(1, length, many - length), 0)
    found = slopes(times, values, np.maximum.accumulate(low), length)
    for index in (0, 1, 511, 512, many - length - 1):
        if index < len(low):
            part = slice(int(np.maximum.accumulate(low)[index]), length + index + 1)
            ours = Fraction(int(found.above[index]), int(found.below[index]))
            assert ours == plainly(times[part].tolist(), values[part].tolist())
