"""Is CSV that is read in columns the very recording that is read without pyarrow?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from adapters.recordings import Recording, RecordingRefused, opened, quick_csv, read_recordings
from tests.fed_points import POINTS

TIME = st.one_of(
    st.sampled_from(
        [
            "2026-04-03T02:14:30Z", "2026-04-03T02:14:30.250Z", "2026-04-03T02:14:31.250Z", "2026-04-03 02:14:30Z",
            "2026-04-03T02:14:60Z", "2026-02-30T02:14:30Z", "0000-01-01T00:00:00Z", "0001-01-01T00:00:00Z",
            "2026-04-03T24:00:00Z", "2026-04-03T02:14:30+0100", "2026-04-03T02:14:30.5+01:00", "2026-04-03T02:14:31",
            "2026-10-25T01:30:00", "2026-04-03T02:14:30z", "2026-04-03T02:1 :30Z", "2026-04-03T02:14:30.12xZ",
            "9999-12-31T23:59:59.999Z", "1775182470", "1775182470.0005", "0x10", "", " ", "never",
            "+2026-04-03T02:14:3",
        ]
    ),
    st.text(alphabet="0123456789-:TZ.+ ", min_size=18, max_size=25),
)  # fmt: skip
POINT = st.sampled_from(["tank.temperature", " tank.oxygen", "pond.level", "", "Ünknown", "tank.temperature "])
VALUE = st.sampled_from(
    ["21", "21.345", "", " ", "x", "1e3", "nan", "inf", "NULL", "0x1F", '"7"', '"1,2"', "-0.0005", "1e40", " 5 ", "+4."]
)
UNIT = st.sampled_from(["", "degF", "mg/L", "furlong", "%"])
END = st.sampled_from(["\n", "\n", "\n", "\r\n", "\r", "\n\n", "\n \n"])
USUAL = st.sampled_from(["2026-04-03T02:14:30Z", "2026-04-03T02:14:31Z", "2026-04-03T02:14:32Z"])


def told(path: Path, quick: bool, plan: bool, strict: bool) -> Any:
    """Everything that a recording says, or why it is refused."""
    try:
        found: Recording = read_recordings([path], POINTS if plan else None, "Europe/Dublin", strict, quick=quick)
    except RecordingRefused as error:
        return str(error)
    blocks = {
        name: (part.times.tolist(), part.values.tolist(), part.flags.tolist()) for name, part in found.blocks.items()
    }
    return blocks, found.series, found.bad_lines, found.bad_count, found.ignored, found.rounded, found.repeats


def same(path: Path, monkeypatch: pytest.MonkeyPatch, stretch: int) -> None:
    """Both readers, with a plan or without, strict or not."""
    monkeypatch.setattr(quick_csv, "WORTH", 0)
    for plan in (True, False):
        for strict in (False, True):
            monkeypatch.setattr(opened, "STRETCH", stretch)
            assert told(path, True, plan, strict) == told(path, False, plan, strict)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    st.lists(st.tuples(st.one_of(USUAL, TIME), POINT, VALUE, UNIT, END), max_size=12),
    st.sampled_from(["time,point,value,unit", "value,unit,point,time"]),
    st.sampled_from([150, 1 << 22]),
)
@example([("2026-04-03T02:14:30Z", "tank.oxygen", "7", "", "\n")] * 3, "time,point,value,unit", 1 << 22)
@example([("2026-04-03T02:14:30.250Z", "tank.oxygen", "7.00", "", "\r\n")] * 3, "time,point,value,unit", 1 << 22)
@example([("2026-04-03T02:14:30Z", "tank.oxygen", "7,8", "", "\n")] * 3, "time,point,value,unit", 150)
def test_long_form_is_the_same(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    lines: list[tuple[str, str, str, str, str]],
    header: str,
    stretch: int,
) -> None:
    """Readings, bad lines with number and reason, counts, repeats, units and what --strict says."""
    path = tmp_path / "long.csv"
    body = []
    for time, point, value, unit, end in lines:
        field = {"time": time, "point": point, "value": value, "unit": unit}
        body.append(",".join(field[name] for name in header.split(",")) + end)
    path.write_bytes((header + "\n" + "".join(body)).encode())
    same(path, monkeypatch, stretch)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    st.lists(st.tuples(st.one_of(USUAL, TIME), VALUE, VALUE, VALUE, END), max_size=12), st.sampled_from([150, 1 << 22])
)
def test_wide_form_is_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lines: list[tuple[str, str, str, str, str]], stretch: int
) -> None:
    """Also where a column is of no point of the plan."""
    path = tmp_path / "wide.csv"
    body = "".join(",".join(fields) + end for *fields, end in lines)
    path.write_bytes(f"tank.temperature [degF],time,pond.level,tank.oxygen\n{_turned(body)}".encode())
    same(path, monkeypatch, stretch)


def _turned(body: str) -> str:
    """With the time in the second place; lines that have not four fields as they are."""
    out = []
    for line in body.splitlines(keepends=True):
        fields = line.split(",")
        out.append(",".join([fields[1], fields[0], *fields[2:]]) if len(fields) == 4 else line)
    return "".join(out)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.lists(st.text(alphabet='019,.:-TZ"x \r\0é', max_size=30), max_size=12))
def test_whatever_a_file_holds_is_read_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lines: list[str]
) -> None:
    """Text near a table and far from one."""
    path = tmp_path / "odd.csv"
    path.write_bytes("\n".join(["time,point,value", *lines]).encode())
    same(path, monkeypatch, 1 << 22)


def test_usual_files_need_no_closer_look() -> None:
    """Lines of the usual spellings are read in columns, with their times."""
    for line in (b"2026-04-03T02:14:30Z,a,7\n", b"2026-04-03T02:14:30.125Z,a,7\r\n"):
        found = quick_csv.split_quickly(line * 60_000, 3, 2, 0)
        assert found is not None
        assert found.times is not None
        assert found.count == 60_000


def test_small_files_do_not_cost_an_import(monkeypatch: pytest.MonkeyPatch) -> None:
    """Below the size from which it is worth it, at it and above."""
    line = b"1775182470,a,7\n"
    monkeypatch.setattr(quick_csv, "WORTH", len(line) * 10)
    assert quick_csv.split_quickly(line * 9, 3, 2, 0) is None
    assert quick_csv.split_quickly(line * 10, 3, 2, 0) is not None
    assert quick_csv.split_quickly(line * 11, 3, 2, 0) is not None


def test_without_the_extra_nothing_is_read_in_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    """And nothing is missed: the caller splits the lines itself."""
    monkeypatch.setattr(quick_csv, "is_installed", lambda: False)
    assert quick_csv.split_quickly(b"1775182470,a,7\n" * 100_000, 3, 2, 0) is None
