"""Are measured data from elsewhere read to the last digit? See tests/data/README.md."""

from __future__ import annotations

import hashlib
import re
from fractions import Fraction
from pathlib import Path

import numpy as np

from adapters.recordings import read_recordings
from rules.events import show_time
from tests.open_data import DATA, WATER_FLOW, sea_surface


def test_the_files_are_the_ones_that_were_published() -> None:
    """The SHA-256 of each file is the one in README.md."""
    told = dict(re.findall(r"^\| `([^`]+)`.*\| `([0-9a-f]{64})` \|$", (DATA / "README.md").read_text(), re.MULTILINE))
    assert set(told) == {"water-flow.csv", "sea_surface_temperature.csv.gz"}
    for name, digest in told.items():
        assert hashlib.sha256((DATA / name).read_bytes()).hexdigest() == digest


def test_water_flow() -> None:
    """1,268 hourly values in l/s through a change to summer time; minimum, maximum, mean as computed with pandas."""
    found = read_recordings([WATER_FLOW], None, "UTC", strict=True)
    part = found.blocks["Water flow"]
    assert found.series == {"Water flow": ("L/s", Fraction(1, 100))}
    assert len(part) == 1268
    assert (found.repeats, found.rounded) == (0, 0)
    assert [show_time(time) for time in (found.span() or ())] == [
        "2022-03-20T10:00:00.000Z",
        "2022-05-16T20:00:00.000Z",
    ]
    assert (part.values.min(), part.values.max()) == (2424, 10968)
    assert round(float(part.values.mean()) / 100, 6) == 100.049598
    gaps = np.flatnonzero(np.diff(part.times) > 5_400_000)
    assert len(gaps) == 10
    assert int((np.diff(part.times)[gaps]).sum()) == 121 * 3_600_000


def test_sea_surface_temperature(tmp_path: Path) -> None:
    """19,226 half-hourly values, one time twice (4.276 first); figures as computed with pandas."""
    found = read_recordings([sea_surface(tmp_path)], None, "UTC", strict=True)
    part = found.blocks["sea.temperature"]
    assert found.series == {"sea.temperature": ("degC", Fraction(1, 1000))}
    assert (len(part), found.repeats, found.rounded) == (19225, 1, 0)
    assert [show_time(time) for time in (found.span() or ())] == [
        "2016-02-15T00:00:00.000Z",
        "2017-03-22T00:00:00.000Z",
    ]
    assert (part.values.min(), part.values.max()) == (3612, 22150)
    twice = [value for time, value in zip(part.times, part.values, strict=True) if time == 1490113800000]
    assert twice == [4276]
