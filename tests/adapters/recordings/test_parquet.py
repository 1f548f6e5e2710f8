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
