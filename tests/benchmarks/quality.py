"""How long do a million readings take through all quality tests of a point, against the same tests in plain numpy?

Run: `python -m tests.benchmarks.quality`. The plain version works on floats, knows one block, an even interval and no
missing value, and finds the extremes of its windows by doubling; it is the least that numpy must do.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rules.block import Block
from rules.durations import HOUR, MINUTE
from rules.local_time import Zone
from rules.plan import PointPlan
from rules.quality.quality import Quality
from rules.quality.registry import TESTS

READINGS = 1_000_000
TABLES: dict[str, dict[str, Any]] = {
    "codes": {"values": [-127, 85]},
    "gross_range": {"fail_low": -50, "fail_high": 70, "suspect_low": -20, "suspect_high": 45},
    "climatology": {
        "spans": [{"months": "4-9", "low": 0, "high": 45}, {"months": "10-3", "low": -20, "high": 35}],
    },
    "gap": {"limit": "10 min"},
    "spike": {"suspect": 2, "fail": 5},
    "rate_of_change": {"suspect": "2 degC/min", "fail": "5 degC/min"},
    "flat_line": {"suspect_time": "12 h", "fail_time": "24 h"},
    "attenuated": {"suspect": 1, "fail": 0.3, "kind": "range", "period": "12 h", "min_readings": 360},
}


def two_years(seed: int = 7) -> Block:
    """A reading a minute: seasons, days, weather and the noise of a probe, with some spikes and one stuck day."""
    chance = np.random.default_rng(seed)
    minute = np.arange(READINGS)
    true = 18 - 9 * np.cos(minute / 525_600 * 2 * np.pi) - 6 * np.cos(minute / 1440 * 2 * np.pi)
    shown = np.round((true + chance.normal(0, 0.06, READINGS)) * 10).astype(np.int64)
    shown[chance.integers(0, READINGS, 300)] += 120
    shown[chance.integers(0, READINGS, 100)] = 850
    shown[500_000:502_000] = shown[500_000]
    start = 1_735_689_600_000
    return Block("air", start + MINUTE * minute, shown, np.full(READINGS, 2, np.uint8))


Floats = NDArray[np.float64]


def plainly(t: NDArray[np.int64], v: Floats) -> NDArray[np.uint8]:
    """The same tests written down as they come: one array operation after the other."""
    flags = np.ones(len(v), np.uint8)

    def raise_to(flag: int, where: NDArray[np.bool_]) -> None:
        np.maximum(flags, np.where(where, np.uint8(flag), np.uint8(1)), out=flags)

    raise_to(4, (v == -127) | (v == 85))
    raise_to(3, (v < -20) | (v > 45))
    raise_to(4, (v < -50) | (v > 70))
    months = t.astype("datetime64[ms]").astype("datetime64[M]").astype(np.int64) % 12 + 1
    warm = (months >= 4) & (months <= 9)
    raise_to(3, np.where(warm, (v < 0) | (v > 45), (v < -20) | (v > 35)))
    wait = np.diff(t)
    raise_to(4, np.append(False, wait > 10 * MINUTE))
    step = np.diff(v)
    stands_out = np.zeros(len(v))
    stands_out[1:-1] = np.abs(v[1:-1] - (v[:-2] + v[2:]) / 2)
    raise_to(3, stands_out > 2)
    raise_to(4, stands_out > 5)
    rate = np.append(0.0, np.abs(step) / (wait / MINUTE))
    raise_to(3, rate > 2)
    raise_to(4, rate > 5)
    for flag, count in ((3, 721), (4, 1441)):
        raise_to(flag, spread(v, count) <= 0)
    moved = spread(v, 720)
    raise_to(3, moved < 1)
    raise_to(4, moved < 0.3)
    return flags


def spread(v: Floats, count: int) -> Floats:
    """max - min of the last `count` values, by doubling; without end where there are fewer."""
    high, low, size = v, v, 1
    while size * 2 <= count:
        high, low = np.maximum(high[size:], high[:-size]), np.minimum(low[size:], low[:-size])
        size *= 2
    rest = count - size
    found = np.full(len(v), np.inf)
    found[count - 1 :] = np.maximum(high[rest:], high[: len(high) - rest]) - np.minimum(
        low[rest:], low[: len(low) - rest]
    )
    return found


def best(work: Callable[[], object], times: int = 5) -> float:
    """The shortest of some runs, seconds."""
    found = []
    for _ in range(times):
        begun = time.perf_counter()
        work()
        found.append(time.perf_counter() - begun)
    return min(found)


def main() -> None:
    """Print both times and their ratio, then each test alone, a live step, and an hour's block."""
    point = PointPlan("air", "air_temperature", "degC", Fraction(1, 10), MINUTE, 3 * MINUTE)
    part = two_years()
    tests = [TESTS[name].model_validate(table) for name, table in TABLES.items()]
    zone = Zone("Europe/Dublin")
    ours = best(lambda: Quality(tests, point, zone).judge(part))
    values = part.values / 10
    plain = best(lambda: plainly(part.times, values))
    print(f"all tests, {READINGS} readings: {ours:.3f} s, plain numpy {plain:.3f} s, ratio {ours / plain:.2f}")
    for test, name in zip(tests, TABLES, strict=True):
        alone = best(lambda test=test: Quality([test], point, zone).judge(part))  # type: ignore[misc]  # bound at once
        print(f"  {name:<15} {1000 * alone:6.1f} ms")
    quality = Quality(tests, point, zone)
    ones = [part.between(int(t) - 1, int(t)) for t in part.times[:2000]]
    live = best(lambda: [quality.judge(one) for one in ones], 1) / len(ones)
    print(f"a live step of one reading: {live * 1e6:.0f} us")
    hour = part.between(int(part.times[3000]), int(part.times[3000]) + HOUR)
    print(f"an hour's block: {best(lambda: Quality(tests, point, zone).judge(hour)) * 1e6:.0f} us")


if __name__ == "__main__":
    main()
