"""Are the same readings the same readings, whether they come as CSV or in any of Parquet's types?"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyarrow import parquet

from adapters.recordings import Recording, read_recordings
from tests.fed_points import POINTS

T0 = 1_775_182_470_000  # 2026-04-03T02:14:30Z
POINT = "tank.temperature"


def same(one: Recording, other: Recording) -> None:
    """Both hold the same counts, times and flags, and account for the same losses."""
    assert one.points() == other.points()
    for point in one.points():
        ours, theirs = one.blocks[point], other.blocks[point]
        assert ours.times.tolist() == theirs.times.tolist()
        assert ours.values.tolist() == theirs.values.tolist()
        assert ours.flags.tolist() == theirs.flags.tolist()
    assert (one.repeats, one.rounded, one.ignored, one.bad_count) == (
        other.repeats,
        other.rounded,
        other.ignored,
        other.bad_count,
    )


def zoned(unit: str) -> Callable[[list[int]], Any]:
    """Instants of a unit, in UTC."""
    per = {"ms": 1, "us": 1000, "ns": 1_000_000}[unit]
    return lambda times: pa.array([time * per for time in times], pa.timestamp(unit, "UTC"))


TIMES: dict[str, Callable[[list[int]], Any]] = {
    **{unit: zoned(unit) for unit in ("ms", "us", "ns")},
    "unzoned": lambda times: pa.array(times, pa.timestamp("ms")),
    "Dublin": lambda times: pa.array(times, pa.timestamp("ms", "Europe/Dublin")),
    "text": lambda times: pa.array([f"{np.datetime64(time, 'ms')}Z" for time in times]),
    "epoch text": lambda times: pa.array([f"{Decimal(time) / 1000:f}" for time in times], pa.large_string()),
    "epoch decimal": lambda times: pa.array([Decimal(time).scaleb(-3) for time in times], pa.decimal128(18, 3)),
    "epoch float": lambda times: pa.array([time / 1000 for time in times], pa.float64()),
}
Values = list[Decimal | None]


def floats(kind: Any, width: Any) -> Callable[[Values], Any]:
    """Floats of a width; the values are such that the width holds their digits."""
    return lambda values: pa.array([None if value is None else width(float(value)) for value in values], kind)


VALUES: dict[str, Callable[[Values], Any]] = {
    "decimal128": lambda values: pa.array(values, pa.decimal128(12, 3)),
    "decimal256": lambda values: pa.array(values, pa.decimal256(60, 7)),
    "float64": floats(pa.float64(), np.float64),
    "float32": floats(pa.float32(), np.float32),
    "text": lambda values: pa.array([None if value is None else str(value) for value in values]),
    "large text": lambda values: pa.array([None if v is None else str(v) for v in values], pa.large_string()),
    "dictionary": lambda values: pa.array(
        [None if v is None else str(v) for v in values], pa.string()
    ).dictionary_encode(),
}
POINT_TYPES = [pa.string(), pa.large_string(), pa.dictionary(pa.int8(), pa.string()), pa.string_view()]
ROWS = st.lists(
    st.tuples(
        st.integers(0, 40).map(lambda step: T0 + 250 * step),  # few, so that there are repeats, and out of order
        st.sampled_from([POINT, "house.humidity", "pond.level"]),
        st.none() | st.integers(-99_999, 99_999).map(lambda counts: Decimal(counts).scaleb(-3)),
    ),
    min_size=1,
    max_size=25,
)


@given(
    ROWS, st.sampled_from(list(TIMES)), st.sampled_from(list(VALUES)), st.sampled_from(POINT_TYPES), st.integers(1, 9)
)
def test_long_form_is_read_as_the_same_text_in_csv(
    rows: list[tuple[int, str, Decimal | None]], times: str, values: str, kind: Any, group: int
) -> None:
    """Whatever the types and the row groups: counts, rounding, missing readings, repeats, points of no plan."""
    with tempfile.TemporaryDirectory() as folder:
        lines = [f"{np.datetime64(time, 'ms')}Z,{point},{'' if v is None else v}" for time, point, v in rows]
        (Path(folder) / "day.csv").write_text("\n".join(["time,point,value", *lines, ""]))
        points = pa.array([point for _, point, _ in rows])
        table = pa.table(
            {
                "time": TIMES[times]([time for time, _, _ in rows]),
                "point": points.dictionary_encode() if pa.types.is_dictionary(kind) else points.cast(kind),
                "value": VALUES[values]([value for _, _, value in rows]),
            }
        )
        parquet.write_table(table, Path(folder) / "day.parquet", row_group_size=group)
        read = [read_recordings([Path(folder) / name], POINTS, "UTC") for name in ("day.csv", "day.parquet")]
    same(*read)


@given(ROWS, st.sampled_from(list(TIMES)), st.sampled_from(list(VALUES)), st.integers(1, 9))
def test_wide_form_is_read_as_the_same_text_in_csv(
    rows: list[tuple[int, str, Decimal | None]], times: str, values: str, group: int
) -> None:
    """A column a point, with units in the names; an empty cell and a null are the same."""
    with tempfile.TemporaryDirectory() as folder:
        lines = [f"{np.datetime64(time, 'ms')}Z,{'' if v is None else v},1" for time, _, v in rows]
        names = ["time", f"{POINT} [degF]", "pump.on"]
        (Path(folder) / "day.csv").write_text("\n".join([",".join(names), *lines, ""]))
        columns = [
            TIMES[times]([time for time, _, _ in rows]),
            VALUES[values]([value for _, _, value in rows]),
            pa.array([1] * len(rows), pa.uint64()),
        ]
        parquet.write_table(pa.table(columns, names), Path(folder) / "day.parquet", row_group_size=group)
        read = [read_recordings([Path(folder) / name], POINTS, "UTC") for name in ("day.csv", "day.parquet")]
    same(*read)


@pytest.mark.parametrize(
    "kind", [pa.int8(), pa.int64(), pa.uint8(), pa.float16(), pa.float32(), pa.float64(), pa.bool_()]
)
def test_a_whole_number_is_the_same_in_every_type(tmp_path: Path, kind: Any) -> None:
    """One is one, and null is missing."""
    width = {pa.bool_(): bool, pa.float16(): np.float16}.get(kind, int)
    columns = {"time": [1, 2], "pump.on": pa.array([width(1), None], kind)}
    parquet.write_table(pa.table(columns), tmp_path / "w.parquet")
    part = read_recordings([tmp_path / "w.parquet"], POINTS, "UTC").blocks["pump.on"]
    assert (part.values.tolist(), part.flags.tolist()) == ([1, 0], [2, 9])


def test_what_is_no_number_is_a_bad_row_as_it_is_a_bad_line(tmp_path: Path) -> None:
    """Not-a-number and infinities are named by the row, counted from 1 through all row groups."""
    values = pa.array([20.5, float("nan"), float("inf"), 21.0, float("-inf")])
    table = pa.table({"time": [1, 2, 3, 4, 5], "point": [POINT] * 5, "value": values})
    parquet.write_table(table, tmp_path / "l.parquet", row_group_size=2)
    found = read_recordings([tmp_path / "l.parquet"], POINTS, "UTC")
    assert found.blocks[POINT].values.tolist() == [20500, 21000]
    assert [bad.line for bad in found.bad_lines] == [2, 3, 5]
    assert all("number" in bad.reason for bad in found.bad_lines)
