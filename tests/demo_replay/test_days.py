"""Are the recorded demo days what the simulator makes, small, and readable by anyone?"""

from __future__ import annotations

import csv
import gzip
import io
import subprocess
import sys
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from demo_replay.days import FOLDER, label_lines, labels_path, path, write
from demo_replay.kinds import RECORDED
from demo_replay.place import POINTS
from tests.simulated_days import made

Rows = dict[str, list[tuple[int, int]]]


def _ms(text: str) -> int:
    moment = datetime.fromisoformat(text)
    return int(moment.timestamp()) * 1000 + moment.microsecond // 1000


def _read(file: Path) -> Rows:
    """A plain reader of its own: point -> (ms, counts), refusing what is not a whole number of the resolution."""
    rows: Rows = {}
    with gzip.open(file, "rt", encoding="utf-8", newline="") as lines:
        reader = csv.DictReader(lines)
        assert reader.fieldnames == ["time", "point", "value", "unit"]
        last = ""
        for row in reader:
            assert row["time"] >= last
            last = row["time"]
            info = POINTS[row["point"]]
            assert row["unit"] == info.unit
            count = Fraction(Decimal(row["value"])) / info.resolution
            assert count.denominator == 1
            rows.setdefault(row["point"], []).append((_ms(row["time"]), int(count)))
    return rows


@pytest.mark.parametrize("kind", RECORDED)
def test_a_recorded_day_is_what_its_seed_makes(kind: str) -> None:
    """Made again, every reading has the same time and the same value to one count of its resolution.

    One count is left for the last digit of an exponential or logarithm, which differs between machines.
    """
    rows, day = _read(path(kind)), made(kind)
    assert set(rows) == set(day.columns)
    for point, (times, counts) in day.columns.items():
        recorded = np.array(rows[point], dtype=np.int64)
        assert np.array_equal(recorded[:, 0], times)
        assert np.abs(recorded[:, 1] - counts).max() <= 1


@pytest.mark.parametrize("kind", RECORDED)
def test_recorded_labels_are_what_the_seed_makes(kind: str) -> None:
    """Labels lie beside the recording as CSV, to one step of the simulator."""
    with labels_path(kind).open(encoding="utf-8", newline="") as lines:
        reader = csv.DictReader(lines)
        assert reader.fieldnames == ["start", "end", "rule", "note"]
        recorded = list(reader)
    labels = made(kind).labels
    assert [(row["rule"], row["note"]) for row in recorded] == [(label.rule, label.note) for label in labels]
    for row, label in zip(recorded, labels, strict=True):
        assert abs(_ms(row["start"]) - label.start_ms) <= 5000
        assert abs(_ms(row["end"]) - label.end_ms) <= 5000


def test_all_days_together_are_small() -> None:
    """Recordings, labels and site file are at most 3 MB in all, so that they travel with the program."""
    assert (
        sum(file.stat().st_size for file in FOLDER.glob("*.*") if file.suffix in (".gz", ".csv", ".toml")) <= 3_000_000
    )


def test_values_are_written_exactly_at_their_resolution() -> None:
    """Every value has just the decimals of its point's resolution, and every time its milliseconds and a Z."""
    decimals = {
        "loop.flow": 1,
        "pump.current": 2,
        "tank.oxygen": 2,
        "mains.present": 0,
        "house.light": 0,
        "tank.level": 1,
    }
    seen = set()
    with gzip.open(path("ordinary"), "rt", encoding="utf-8") as lines:
        for line in islice(lines, 1, 2000):
            time, point, value, _ = line.split(",")
            assert len(time) == len("2026-05-19T00:00:00.000Z")
            assert time.endswith("Z")
            if point in decimals:
                seen.add(point)
                assert len(value.partition(".")[2]) == decimals[point]
    assert seen == set(decimals)


def test_the_days_can_be_made_again_from_the_command_line_to_the_same_bytes(tmp_path: Path) -> None:
    """`python -m demo_replay.days FOLDER` writes all files and says how large they are; twice gives the same bytes."""
    first, second = tmp_path / "a", tmp_path / "b"
    first.mkdir()
    second.mkdir()
    done = subprocess.run(
        [sys.executable, "-m", "demo_replay.days", str(first)], check=True, capture_output=True, text=True
    )
    assert done.stdout.startswith("ordinary: ")
    write(second)
    names = {name for kind in RECORDED for name in (f"{kind}.csv.gz", f"{kind}.labels.csv")}
    assert {file.name for file in first.iterdir()} == names
    assert all((first / name).read_bytes() == (second / name).read_bytes() for name in names)


def test_a_kind_without_a_recording_is_refused_by_name() -> None:
    """Kinds that are made on demand have no file, and the error lists those that have."""
    with pytest.raises(ValueError, match=r"no recorded day called 'power_cut'; there are ordinary, hot, .*dirty_probe"):
        path("power_cut")


def test_label_notes_need_no_quotes() -> None:
    """A label line splits at its commas into four parts."""
    for kind in RECORDED:
        for line in label_lines(made(kind)):
            assert len(next(csv.reader(io.StringIO(line)))) == line.count(",") + 1 == 4
