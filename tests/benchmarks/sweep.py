"""How much faster is a sweep than lean passes, and what does it cost in time and memory?

    .venv/bin/python -m tests.benchmarks.sweep

10,000 settings of a band (100 limits, 10 deadbands, 10 on-delays) over one point-year, scored against twelve labels,
beside 10,000 lean passes, of which 200 are timed. Processor time, best of three.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable
from fractions import Fraction

from demo_replay.labels import Label
from demo_replay.tuning.band_sweep import BandGrid, sweep_band
from demo_replay.tuning.levels import Ints, Series
from demo_replay.tuning.scores import EARLY, Measure, Scores, one_after_another, score
from tests.benchmarks.lean import MINUTE, YEAR, lean_pass, point_year

FIRST_LIMIT = 200
"""Counts of 0.1 degC."""
HOLD = 5 * MINUTE


def swept(times: Ints, values: Ints, limits: int, deadbands: int = 10, delays: int = 10) -> Scores:
    """The scores of so many limits, deadbands and on-delays."""
    grid = BandGrid(
        tuple(FIRST_LIMIT + Fraction(100 * index, limits) for index in range(limits)),
        tuple(Fraction(index) for index in range(deadbands)),
        tuple(5 * MINUTE * index for index in range(delays)),
        (0,),
    )
    step = len(times) // 13
    labels = tuple(
        Label(int(times[step * n]), int(times[step * n]) + 600 * MINUTE, "air.warm", "") for n in range(1, 13)
    )
    measure = Measure(labels, EARLY, int(times[0]), int(times[-1]))
    series = Series(times, values, HOLD, int(times[-1]))
    return one_after_another([score(spells, grid.a_limit, measure) for _, spells in sweep_band(series, grid)])


def seconds(work: Callable[[], object]) -> float:
    """Processor seconds, best of three."""
    found = []
    for _ in range(3):
        begin = time.process_time()
        work()
        found.append(time.process_time() - begin)
    return min(found)


def megabytes(work: Callable[[], object]) -> float:
    """The most memory that was held at one time."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def main() -> None:
    """Print seconds, the ratio, and how both grow."""
    times, values = point_year()
    passes = 200
    lean = seconds(lambda: [lean_pass(values, FIRST_LIMIT + n % 100, n % 10) for n in range(passes)]) / passes
    sweep = seconds(lambda: swept(times, values, 100))
    print(f"one lean pass over {YEAR:,} readings: {lean * 1000:.2f} ms; 10,000 of them: {lean * 10_000:.2f} s")
    print(f"10,000 settings swept and scored: {sweep:.2f} s; {lean * 10_000 / sweep:.1f} times faster")
    print(f"{'readings':>10} {'settings':>10} {'seconds':>8} {'MB':>7}")
    for readings, limits in ((YEAR // 4, 100), (YEAR // 2, 100), (YEAR, 100), (YEAR, 10), (YEAR, 1000)):
        t, v = times[-readings:], values[-readings:]

        def work(t: Ints = t, v: Ints = v, limits: int = limits) -> Scores:
            return swept(t, v, limits)

        print(f"{readings:>10,} {limits * 100:>10,} {seconds(work):>8.2f} {megabytes(work):>7.1f}")


if __name__ == "__main__":
    main()
