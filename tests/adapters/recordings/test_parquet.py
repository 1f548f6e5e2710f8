"""Is a Parquet file read by the rules by which CSV is read?"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path

import pyarrow as pa
import pytest
from pyarrow import parquet

from adapters.recordings import RecordingRefused, parquet_table, read_recordings
from tests.fed_points import POINTS

T0 = 1_775_182_470_000  # 2026-04-03T02:14:30Z


def test_long_form_counts_decimals_as_written_and_null_as_missing(tmp_path: Path) -> None:
    """Nulls are missing readings, the unit column converts, points of no plan are counted."""
    columns = {
        "time": pa.array([T0, T0 + 1000, T0 + 2000, None], pa.timestamp("ms", "UTC")),
        "point": ["tank.temperature", "tank.temperature", "pond.level", "tank.temperature"],
        "value": pa.array([Decimal("68.00"), None, Decimal("1.00"), Decimal("2.00")], pa.decimal128(9, 2)),
        "unit": ["degF", None, None, None],
    }
    parquet.write_table(pa.table(columns), tmp_path / "long.parquet")
    found = read_recordings([tmp_path / "long.parquet"], POINTS, "UTC")
    part = found.blocks["tank.temperature"]
    assert (part.times.tolist(), part.values.tolist(), part.flags.tolist()) == ([T0, T0 + 1000], [20000, 0], [2, 9])
    assert found.ignored == {"pond.level": 1}
    assert [(bad.line, bad.reason) for bad in found.bad_lines] == [(4, "no time")]


@pytest.mark.parametrize("kind", [pa.float32(), pa.float64()])
def test_wide_form_takes_floats_in_their_own_width(tmp_path: Path, kind: pa.DataType) -> None:
    """21.3 is 21.3 in either width; a time without a zone is in the site's."""
    local = pa.array([dt.datetime(2026, 4, 3, 3, 14, 30)], pa.timestamp("us"))  # noqa: DTZ001 - local on purpose
    parquet.write_table(pa.table({"time": local, "tank.temperature [degC]": pa.array([21.3], kind)}), tmp_path / "w")
    found = read_recordings([tmp_path / "w"], POINTS, "Europe/Dublin")
    assert (found.blocks["tank.temperature"].times.tolist(), found.rounded) == ([T0], 0)
    assert found.blocks["tank.temperature"].values.tolist() == [21300]


def test_without_the_extra_the_error_says_how_to_install_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And names the file."""
    monkeypatch.setattr(parquet_table, "is_installed", lambda: False)
    parquet.write_table(pa.table({"time": [1], "tank.oxygen": [7]}), tmp_path / "w.parquet")
    with pytest.raises(RecordingRefused, match=r"w\.parquet: .*pip install pyarrow"):
        read_recordings([tmp_path / "w.parquet"], POINTS, "UTC")


GOOD = {"time": [1, 2, 3, 4], "point": ["pump.on"] * 4, "value": [1, 1, 0, 1]}


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        ({"time": [1], "point": ["pump.on"], "value": [{"a": 1}]}, "column value: it holds struct<.*write them as dec"),
        ({"time": [1], "pump.on": [[1]]}, r"column pump\.on: it holds list<.*where numbers are wanted"),
        ({"time": [1], "pump.on": [b"1"]}, r"column pump\.on: it holds binary where numbers are wanted"),
        ({"time": [dt.date(2026, 4, 3)], "pump.on": [1]}, "column time: it holds date32.*write timestamps, text or"),
        ({"time": [1], "point": [1], "value": [1]}, "column point: it holds int64 where text is wanted"),
        ({"when": [1], "point": ["pump.on"], "value": [1]}, "column 'when' beside time, point, value, unit"),
        ({"when": [1], "pump.on": [1]}, "no column 'time' in the header 'when,pump.on'; it must be"),
        ({"time": [1]}, "the header has no point beside time"),
        ({}, "no column 'time'"),
    ],
)
def test_a_column_that_makes_no_sense_is_named(tmp_path: Path, columns: dict[str, list[object]], told: str) -> None:
    """With the file, what it holds and what it should."""
    parquet.write_table(pa.table(columns), tmp_path / "odd.parquet")
    with pytest.raises(RecordingRefused, match=rf"odd\.parquet: {told}"):
        read_recordings([tmp_path / "odd.parquet"], POINTS, "UTC")


@pytest.mark.parametrize("length", [4, 12, 200, -1, -9])
def test_a_file_that_was_cut_short_is_refused(tmp_path: Path, length: int) -> None:
    """Wherever it was cut, with what to do about it."""
    path = tmp_path / "cut.parquet"
    parquet.write_table(pa.table(GOOD), path)
    path.write_bytes(path.read_bytes()[:length])
    with pytest.raises(
        RecordingRefused, match=r"cut\.parquet: no Parquet, damaged or cut short; copy or write it again"
    ):
        read_recordings([path], POINTS, "UTC")


def test_damage_within_is_told_by_the_row_from_which_it_is(tmp_path: Path) -> None:
    """In one line; the rows before it are not taken for the whole."""
    path = tmp_path / "harmed.parquet"
    rows = 100_000
    table = pa.table(
        {"time": range(rows), "point": ["pump.on"] * rows, "value": [number % 2 for number in range(rows)]}
    )
    parquet.write_table(table, path, row_group_size=50_000, compression="none", use_dictionary=False)
    offset = parquet.ParquetFile(path).metadata.row_group(1).column(0).data_page_offset
    body = bytearray(path.read_bytes())
    body[offset : offset + 40] = b"\xff" * 40
    path.write_bytes(body)
    with pytest.raises(RecordingRefused, match=r"cut short from row [\d,]+ on; copy or write it again: .") as refused:
        read_recordings([path], POINTS, "UTC")
    assert "\n" not in str(refused.value)


def test_a_file_without_rows_holds_nothing(tmp_path: Path) -> None:
    """As a CSV that has its header alone."""
    parquet.write_table(pa.table(GOOD).slice(0, 0), tmp_path / "none.parquet")
    assert read_recordings([tmp_path / "none.parquet"], POINTS, "UTC").span() is None


def test_strict_stops_at_the_first_bad_row(tmp_path: Path) -> None:
    """With the file and the row."""
    table = pa.table({**GOOD, "value": [1.0, 0.0, float("nan"), 1.0]})
    parquet.write_table(table, tmp_path / "bad.parquet", row_group_size=2)
    with pytest.raises(RecordingRefused, match=r"bad\.parquet:3: 'nan' is not a number"):
        read_recordings([tmp_path / "bad.parquet"], POINTS, "UTC", strict=True)


def test_rows_are_counted_through_all_stretches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A bad row beyond the first stretch has its number in the file."""
    monkeypatch.setattr(parquet_table, "_FIELDS", 1)  # so that a stretch has 1024 rows
    values = pa.array([None if number == 2999 else "on" if number in (1500, 2998) else "1" for number in range(3000)])
    table = pa.table({"time": range(3000), "point": ["pump.on"] * 3000, "value": values})
    parquet.write_table(table, tmp_path / "l.parquet")
    found = read_recordings([tmp_path / "l.parquet"], POINTS, "UTC")
    assert [bad.line for bad in found.bad_lines] == [1501, 2999]
    assert len(found.blocks["pump.on"]) == 2998
