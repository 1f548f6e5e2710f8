"""How long do ten million lines of CSV take to become columns a point, with pyarrow and without?

Run by hand: `python -m tests.benchmarks.csv_columns`. The baseline is the reader of this project without the extra
`fast`; both readings are checked to be the same. Seconds of this process's own processor time stand beside those of
the clock, which other work on the machine stretches.
"""

from __future__ import annotations

import csv
import tempfile
import time
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import numpy as np

from adapters.recordings import Recording, read_recordings
from rules.plan import PointPlan

LINES = 10_000_000
POINTS = 20
WANTED = 4.0
"""Seconds."""
_AT_ONCE = 10_000
_START = 1_767_225_600_137


class Spent(NamedTuple):
    """Seconds by the clock, and of this process's processor time."""

    seconds: float
    busy: float


def write(path: Path) -> None:
    """A reading of each of twenty points each minute, with milliseconds and two decimals."""
    chance = np.random.default_rng(1)
    names = [f"house{number}.temperature" for number in range(POINTS)]
    with path.open("w") as file:
        file.write("time,point,value\n")
        for begin in range(0, LINES // POINTS, _AT_ONCE):
            minutes = np.arange(begin, min(begin + _AT_ONCE, LINES // POINTS))
            stamps = np.datetime_as_string((_START + 60_000 * minutes).astype("datetime64[ms]"), unit="ms").tolist()
            wave = 20 + 6 * np.sin(minutes / 1440 * 2 * np.pi)
            values = np.round(wave[:, None] + chance.normal(0, 0.5, (len(minutes), POINTS)), 2).tolist()
            file.writelines(
                f"{stamp}Z,{name},{value:.2f}\n"
                for stamp, row in zip(stamps, values, strict=True)
                for name, value in zip(names, row, strict=True)
            )


def read(path: Path, quick: bool) -> tuple[Recording, Spent]:
    """One reading of the file."""
    points = {
        f"house{n}.temperature": PointPlan(
            f"house{n}.temperature", "air_temperature", "degC", Fraction(1, 100), 60_000, 180_000
        )
        for n in range(POINTS)
    }
    begun, busy = time.perf_counter(), time.process_time()
    found = read_recordings([path], points, "UTC", quick=quick)
    return found, Spent(time.perf_counter() - begun, time.process_time() - busy)


def by_lines(path: Path) -> Spent:
    """The csv module alone, which makes nothing of the fields."""
    begun, busy = time.perf_counter(), time.process_time()
    with path.open(newline="") as file:
        for _ in csv.reader(file):
            pass
    return Spent(time.perf_counter() - begun, time.process_time() - busy)


def main() -> None:
    """Print seconds and the ratio."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ten_million.csv"
        write(path)
        print(f"{LINES:,} lines, {path.stat().st_size / 1e6:.0f} MB, of {POINTS} points")
        quick, spent = min((read(path, True) for _ in range(2)), key=lambda found: found[1])
        plain, before = read(path, False)
        for name, part in plain.blocks.items():
            other = quick.blocks[name]
            assert np.array_equal(part.times, other.times), name
            assert np.array_equal(part.values, other.values), name
        print(f"with pyarrow              {spent.seconds:6.2f} s  ({spent.busy:5.2f} s busy; wanted {WANTED:.0f})")
        print(
            f"without                   {before.seconds:6.2f} s  ({before.busy:5.2f} s busy)  "
            f"{before.busy / spent.busy:4.1f} times as much work"
        )
        lines = by_lines(path)
        print(
            f"the csv module, to lists  {lines.seconds:6.2f} s  ({lines.busy:5.2f} s busy)  "
            f"{lines.busy / spent.busy:4.1f} times as much work"
        )


if __name__ == "__main__":
    main()
