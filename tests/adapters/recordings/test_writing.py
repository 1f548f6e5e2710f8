"""Can what was written be read again, to the last digit?"""

from __future__ import annotations

import gzip
import tempfile
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.recordings import read_recordings, write_csv, write_stretches
from rules.block import Block, block
from rules.plan import PointPlan

SERIES = {"tank.temperature": ("degC", Fraction(1, 1000)), "pump.on": ("1", Fraction(1)), "a": ("mm", Fraction(1, 4))}


def test_long_form_in_order_of_time(tmp_path: Path) -> None:
    """`time,point,value,unit`, in order of time and then of the series; a missing reading has no value."""
    path = tmp_path / "day.csv"
    blocks = [
        block("pump.on", [1_775_182_470_000], [1]),
        block("tank.temperature", [1_775_182_470_000, 1_775_182_469_250], [-21, None]),
        block("a", [1_775_182_470_000], [-5]),
    ]
    assert write_csv(path, blocks, SERIES) == 4
    assert path.read_text() == (
        "time,point,value,unit\n"
        "2026-04-03T02:14:29.250Z,tank.temperature,,degC\n"
        "2026-04-03T02:14:30.000Z,tank.temperature,-0.021,degC\n"
        "2026-04-03T02:14:30.000Z,pump.on,1,1\n"
        "2026-04-03T02:14:30.000Z,a,-1.25,mm\n"
    )
    assert list(tmp_path.iterdir()) == [path]


def test_the_same_readings_make_the_same_bytes(tmp_path: Path) -> None:
    """A gzipped recording holds neither its name nor the time of writing."""
    part = block("pump.on", range(0, 10_000_000, 1000), [number % 2 for number in range(10_000)])
    for name in ("a.parquet", "b.parquet"):
        write_stretches(tmp_path / name, [[part]], SERIES)
    assert (tmp_path / "a.parquet").read_bytes() == (tmp_path / "b.parquet").read_bytes()
    for name in ("a.csv.gz", "b.csv.gz"):
        write_csv(tmp_path / name, [part], SERIES)
    assert (tmp_path / "a.csv.gz").read_bytes() == (tmp_path / "b.csv.gz").read_bytes()
    assert (tmp_path / "a.csv.gz").read_bytes()[4:8] == bytes(4)  # RFC 1952: the time of writing, 0 for none
    assert gzip.decompress((tmp_path / "a.csv.gz").read_bytes()).count(b"\n") == 10_001


def test_a_failed_writing_leaves_what_was_there(tmp_path: Path) -> None:
    """An error on the way neither harms the old file nor leaves a part of the new one."""
    path = tmp_path / "day.csv"
    path.write_text("kept")
    bad = block("pump.on", [2**62], [1])  # a time that no calendar has
    with pytest.raises(ValueError, match="year"):
        write_csv(path, [block("a", [0], [1]), bad], SERIES)
    assert path.read_text() == "kept"
    assert list(tmp_path.iterdir()) == [path]


def test_readings_of_one_instant_stand_in_the_order_of_the_series(tmp_path: Path) -> None:
    """However many there are."""
    times = [1000 * (number // 2 % 500) for number in range(0, 1000, 2)]
    write_csv(tmp_path / "day.csv", [block(point, times, range(500)) for point in reversed(list(SERIES))], SERIES)
    lines = (tmp_path / "day.csv").read_text().splitlines()[1:]
    assert [line.split(",")[1] for line in lines] == list(SERIES) * 500


def test_parquet_is_long_form_with_types_that_other_programs_know(tmp_path: Path) -> None:
    """Instants in UTC, exact decimals with the places of the finest resolution, null where a reading is missing."""
    pytest.importorskip("pyarrow")
    from pyarrow import parquet

    blocks = [block("tank.temperature", [-500, 250], [-21, None]), block("a", [250], [-5], [4])]
    assert write_stretches(tmp_path / "day.parquet", [blocks], SERIES, with_flags=True) == 3
    table = parquet.read_table(tmp_path / "day.parquet")
    assert [str(table.schema.field(name).type) for name in ("time", "value", "flag")] == [
        "timestamp[ms, tz=UTC]",
        "decimal128(38, 3)",
        "uint8",
    ]
    found = [[None if cell is None else str(cell) for cell in row.values()] for row in table.to_pylist()]
    assert found == [
        ["1969-12-31 23:59:59.500000+00:00", "tank.temperature", "-0.021", "degC", "2"],
        ["1970-01-01 00:00:00.250000+00:00", "tank.temperature", None, "degC", "9"],
        ["1970-01-01 00:00:00.250000+00:00", "a", "-1.250", "mm", "4"],
    ]


@pytest.mark.parametrize("name", ["day.csv", "day.parquet"])
def test_one_stretch_is_asked_for_after_the_other_was_written(tmp_path: Path, name: str) -> None:
    """So that a year of readings never lies in memory; an error on the way leaves no part behind."""

    def stretches() -> Iterator[list[Block]]:
        for day in range(3):
            yield [block("pump.on", range(day * 200_000, (day + 1) * 200_000), [1] * 200_000)]
            grown.append((tmp_path / (name + ".part")).stat().st_size)
        raise OSError("the disk is gone")

    grown: list[int] = []
    with pytest.raises(OSError, match="the disk is gone"):
        write_stretches(tmp_path / name, stretches(), SERIES)
    assert 0 < grown[0] < grown[1] < grown[2]
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_a_recording_too(tmp_path: Path) -> None:
    """Only the header is written."""
    assert write_csv(tmp_path / "day.csv", [], {}) == 0
    assert (tmp_path / "day.csv").read_text() == "time,point,value,unit\n"


READINGS = st.dictionaries(
    st.integers(-(10**12), 4 * 10**12), st.one_of(st.none(), st.integers(-(2**53), 2**53)), min_size=1, max_size=20
)


@given(
    READINGS,
    st.sampled_from([Fraction(1), Fraction(1, 10), Fraction(1, 1000), Fraction(1, 4), Fraction(5), Fraction(1, 10**9)]),
    st.sampled_from(["day.csv", "day.csv.gz", "day.parquet"]),
    st.integers(0, 20),
    st.booleans(),
)
def test_what_was_written_is_read_again(
    readings: dict[int, int | None], resolution: Fraction, name: str, cut: int, with_flags: bool
) -> None:
    """Times, counts and flags are the same, whatever the resolution and the stretches."""
    ordered = sorted(readings)
    part = block("a", ordered, [readings[time] for time in ordered])
    plan = PointPlan("a", "level", "mm", resolution)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        stretches = [[block("a", some, [readings[time] for time in some])] for some in (ordered[:cut], ordered[cut:])]
        written = write_stretches(path, stretches, {"a": ("mm", resolution)}, with_flags=with_flags)
        assert written == len(readings)
        found = read_recordings([path], {"a": plan}, "UTC", strict=True)
    again: Block = found.blocks["a"]
    assert again.times.tolist() == part.times.tolist()
    assert again.values.tolist() == part.values.tolist()
    assert again.flags.tolist() == part.flags.tolist()
    assert found.rounded == 0
