"""Are recorded files read as the contract says?"""

from __future__ import annotations

import gzip
import json
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from adapters.recordings import BadLine, Recording, RecordingRefused, opened, read_recordings
from rules.block import Block
from tests.fed_points import POINTS

T0 = 1_775_182_470_000  # 2026-04-03T02:14:30Z


def recorded(folder: Path, text: str | bytes, name: str = "day.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def read(path: Path, timezone: str = "Europe/Dublin", strict: bool = False) -> Recording:
    return read_recordings([path], POINTS, timezone, strict)


def rows(part: Block) -> list[tuple[int, int, int]]:
    return list(zip(part.times.tolist(), part.values.tolist(), part.flags.tolist(), strict=True))


LONG = """time,point,value
2026-04-03T02:14:30Z,tank.temperature,21.345
2026-04-03T03:14:30.5+01:00,tank.oxygen,7.5
1775182471,tank.temperature,21.35
1775182471.250,tank.oxygen,
"""


def test_long_form(tmp_path: Path) -> None:
    """`time,point,value`: RFC 3339 or epoch seconds; an empty value is a missing reading (flag 9)."""
    found = read(recorded(tmp_path, LONG))
    assert rows(found.blocks["tank.temperature"]) == [(T0, 21345, 2), (T0 + 1000, 21350, 2)]
    assert rows(found.blocks["tank.oxygen"]) == [(T0 + 500, 750, 2), (T0 + 1250, 0, 9)]
    assert (found.bad_lines, found.ignored, found.rounded, found.repeats) == ([], {}, 0, 0)
    assert found.span() == (T0, T0 + 1250)
    assert found.points() == ["tank.temperature", "tank.oxygen"]
    assert found.series["tank.oxygen"] == ("mg/L", Fraction(1, 100))


def test_units_of_the_file_convert_exactly(tmp_path: Path) -> None:
    """A `unit` column may differ from line to line; a unit that does not fit is a bad line."""
    text = (
        "time,point,value,unit\n1775182470,tank.temperature,68,degF\n1775182471,tank.temperature,21,\n"
        "1775182472,tank.temperature,7,mg/L\n1775182473,tank.temperature,45,degF\n"
        "1775182474,tank.temperature,1,furlong\n1775182475,tank.temperature,,furlong\n"
    )
    found = read(recorded(tmp_path, text))
    assert [value for _, value, _ in rows(found.blocks["tank.temperature"])] == [20000, 21000, 7222, 0]
    assert found.rounded == 1  # 45 degF is 7.2222... degC
    assert [line.line for line in found.bad_lines] == [4, 6]
    assert "mg/L does not fit" in found.bad_lines[0].reason
    assert "not known" in found.bad_lines[1].reason


def test_the_columns_may_stand_in_any_order(tmp_path: Path) -> None:
    """The header says which is which, with a byte-order mark, blanks, quotes and CRLF or without."""
    text = '\ufeff"Value", unit ,"time",point\r\n"21.5",degC, 1775182470 ,"tank.temperature"\r\n'
    assert rows(read(recorded(tmp_path, text)).blocks["tank.temperature"]) == [(T0, 21500, 2)]


def test_wide_form(tmp_path: Path) -> None:
    """`time` and a column a point, units in square brackets; columns of other points are counted as ignored."""
    text = (
        "time,tank.temperature [degF],tank.oxygen,pond.level [mm]\n"
        "2026-04-03T02:14:30Z,68,7.5,100\n2026-04-03T02:14:31Z,,7.25,100\n\n2026-04-03T02:14:32Z,69.8,,\n"
    )
    found = read(recorded(tmp_path, text))
    assert rows(found.blocks["tank.temperature"]) == [(T0, 20000, 2), (T0 + 1000, 0, 9), (T0 + 2000, 21000, 2)]
    assert rows(found.blocks["tank.oxygen"]) == [(T0, 750, 2), (T0 + 1000, 725, 2), (T0 + 2000, 0, 9)]
    assert found.ignored == {"pond.level": 3}


def test_the_percent_sign_is_per_cent_in_csv(tmp_path: Path) -> None:
    """35 % in a CSV is 35 per cent; only SenML takes it as a ratio."""
    found = read(recorded(tmp_path, "time,house.humidity [%]\n1775182470,35\n"))
    assert rows(found.blocks["house.humidity"]) == [(T0, 350, 2)]


def test_senml(tmp_path: Path) -> None:
    """A SenML pack is a recording too; a point is called by its resolved name."""
    pack = [
        {"bn": "tank.", "bt": 1775182470, "n": "temperature", "u": "Cel", "v": 21.345},
        {"n": "temperature", "t": 60, "u": "K", "v": 294.15},
        {"n": "oxygen", "t": 60, "u": "kg/m3", "v": None},
        {"n": "oxygen", "t": 70, "vs": "low"},
        {"n": "level", "t": 60, "u": "m", "v": 1},
        {"n": "oxygen", "t": 80, "s": 3},
        {"bn": "", "n": "pump.on", "vb": True},
        {"n": "house.humidity", "u": "%", "v": 0.35},
        {"bt": 0, "n": "pump.on", "vb": True},
        {"t": -5, "n": "pump.on", "vb": True},
    ]
    found = read(recorded(tmp_path, json.dumps(pack), "day.json"))
    assert rows(found.blocks["tank.temperature"]) == [(T0, 21345, 2), (T0 + 60000, 21000, 2)]
    assert rows(found.blocks["tank.oxygen"]) == [(T0 + 60000, 0, 9)]
    assert rows(found.blocks["pump.on"]) == [(T0, 1, 2)]
    assert rows(found.blocks["house.humidity"]) == [(T0, 350, 2)]
    assert found.ignored == {"tank.level": 1}
    assert [line.line for line in found.bad_lines] == [4, 6, 9, 10]


@pytest.mark.parametrize("name", ["day.csv", "day.csv.gz", "day.txt"])
def test_gzip_is_told_by_the_content(tmp_path: Path, name: str) -> None:
    """Whatever the file is called."""
    for content in (gzip.compress(LONG.encode()), LONG.encode()):
        assert len(read(recorded(tmp_path, content, name)).blocks["tank.oxygen"]) == 2


def test_bad_lines_are_told_by_number_and_reason_and_skipped(tmp_path: Path) -> None:
    """Each line that cannot be read is named; the others are kept; blank lines are nothing."""
    text = (
        "time,point,value\n"
        "1775182470,tank.temperature,21\n"  # 2
        "\n"
        "1775182471,tank.temperature,warm\n"  # 4
        "1775182472,tank.temperature,nan\n"  # 5
        "1775182473,tank.temperature\n"  # 6
        "yesterday,tank.temperature,21\n"  # 7
        ",tank.temperature,21\n"  # 8
        "1775182474,,21\n"  # 9
        "1775182475,tank.temperature,1e20\n"  # 10
        '1775182476,"tank,temperature",21\n'  # 11
        '1775182477,"tank.temperature,21\n'  # 12
        "1775182478,tank.temperature,9007199254740.993\n"  # 13
        "1775182479,tank.temperature,2\x001\n"  # 14
        "1775182480,tank.temperature,22"  # 15, without a line feed
    )
    path = recorded(tmp_path, text)
    found = read(path)
    assert [value for _, value, _ in rows(found.blocks["tank.temperature"])] == [21000, 22000]
    assert [line.line for line in found.bad_lines] == list(range(4, 15))
    assert found.bad_count == 11
    assert {line.file for line in found.bad_lines} == {str(path)}
    assert found.bad_lines[0] == BadLine(str(path), 4, "'warm' is not a number")
    assert "2 fields where the header has 3" in found.bad_lines[2].reason
    assert "no RFC 3339 time" in found.bad_lines[3].reason
    assert found.bad_lines[4].reason == "no time"
    assert found.bad_lines[5].reason == "no point"
    assert "too large" in found.bad_lines[9].reason


def test_a_bad_cell_makes_a_wide_line_bad(tmp_path: Path) -> None:
    """The line is skipped as a whole, and the reason names the point."""
    text = "time,tank.temperature,tank.oxygen\n1775182470,21,low\n1775182471,21,7\n"
    found = read(recorded(tmp_path, text))
    assert len(found.blocks["tank.temperature"]) == len(found.blocks["tank.oxygen"]) == 1
    assert found.bad_lines[0].reason == "tank.oxygen: 'low' is not a number"


def test_strict_stops_at_a_bad_line(tmp_path: Path) -> None:
    """The error names file, line and reason."""
    path = recorded(tmp_path, LONG + "1775182480,tank.temperature,warm\n")
    with pytest.raises(RecordingRefused, match=r"day\.csv:6: 'warm' is not a number"):
        read(path, strict=True)
    assert read(recorded(tmp_path, LONG), strict=True).bad_count == 0


def test_only_so_many_bad_lines_are_kept_but_all_are_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file of nothing but bad lines does not fill the memory."""
    monkeypatch.setattr("adapters.recordings.gathered.MOST_BAD_LINES", 10)
    found = read(recorded(tmp_path, "time,point,value\n" + "bad\n" * 50))
    assert (len(found.bad_lines), found.bad_count) == (10, 50)


def test_the_first_of_equal_times_is_kept_and_all_is_sorted(tmp_path: Path) -> None:
    """A recording is sorted by time; a second reading of the same point and time is a repeat, across files too."""
    first = recorded(
        tmp_path, "time,point,value\n" + "".join(f"177518247{i},tank.oxygen,{i}\n" for i in (3, 1, 3, 2)), "a.csv"
    )
    second = recorded(tmp_path, "time,point,value\n1775182471,tank.oxygen,9\n1775182470,tank.oxygen,9\n", "b.csv")
    found = read_recordings([first, second], POINTS, "UTC")
    assert rows(found.blocks["tank.oxygen"]) == [
        (T0, 900, 2),
        (T0 + 1000, 100, 2),
        (T0 + 2000, 200, 2),
        (T0 + 3000, 300, 2),
    ]
    assert found.repeats == 2


def test_bad_lines_of_several_files_stay_apart(tmp_path: Path) -> None:
    """Each is named with its own file, in the order of the files."""
    first = recorded(tmp_path, "time,point,value\n1775182471,tank.oxygen,1e20\n", "b.csv")
    second = recorded(tmp_path, "time,point,value\nbad\n1775182471,tank.oxygen,1e20\n", "a.csv")
    found = read_recordings([first, second], POINTS, "UTC")
    assert [(Path(line.file).name, line.line) for line in found.bad_lines] == [("b.csv", 2), ("a.csv", 2), ("a.csv", 3)]


def test_times_without_an_offset_are_in_the_sites_zone(tmp_path: Path) -> None:
    """Summer time in Dublin is an hour ahead of UTC; of 2026-10-25T01:30 the first is taken."""
    text = "time,tank.oxygen\n2026-04-03T03:14:30,1\n2026-10-25 01:30:00,2\n2026-10-25T01:30:00Z,3\n"
    path = recorded(tmp_path, text)
    assert read(path).blocks["tank.oxygen"].times.tolist() == [T0, 1792888200000, 1792891800000]
    assert read(path, "UTC").blocks["tank.oxygen"].times.tolist()[0] == T0 + 3600000


def test_an_unknown_time_zone_is_refused(tmp_path: Path) -> None:
    """With an example of a known one."""
    with pytest.raises(RecordingRefused, match="Europe/Dublin"):
        read(recorded(tmp_path, LONG), "Mars/Olympus")


def test_without_a_plan_the_file_says_unit_and_resolution(tmp_path: Path) -> None:
    """Each point's resolution is the finest decimal in it; its unit is the file's, `1` where it names none."""
    text = (
        "time,point,value,unit\n1,a,21.50,degC\n2,a,70,degF\n3,b,1e-3,\n4,b,12,\n5,c,7,widgets\n6,d,,\n"
        "7,e,1234567890123.123456,\n8,f,0.00000000000001,m\n"
    )
    found = read_recordings([recorded(tmp_path, text)], None, "UTC")
    assert found.series == {
        "a": ("degC", Fraction(1, 100)),
        "b": ("1", Fraction(1, 1000)),
        "c": ("widgets", Fraction(1)),
        "d": ("1", Fraction(1)),
        "e": ("1", Fraction(1, 1000)),  # as fine as whole counts up to 2^53 allow
        "f": ("m", Fraction(1, 10**12)),
    }
    assert found.blocks["a"].values.tolist() == [2150, 2111]  # 70 degF is 21.11... degC
    assert found.blocks["b"].values.tolist() == [1, 12000]
    assert found.blocks["e"].values.tolist() == [1234567890123123]
    assert found.rounded == 3
    assert found.bad_count == 0


def test_without_a_plan_senml_units_get_their_everyday_names(tmp_path: Path) -> None:
    """SenML's `%` is a ratio: it is not called `%` outside."""
    pack = '[{"bt":1775182470,"n":"a","u":"%","v":0.35},{"n":"b","u":"Cel","v":21.5},{"n":"c","vb":true}]'
    found = read_recordings([recorded(tmp_path, pack)], None, "UTC")
    assert found.series == {
        "a": ("1", Fraction(1, 100)),
        "b": ("degC", Fraction(1, 10)),
        "c": ("1", Fraction(1)),
    }


def test_long_texts_are_exact(tmp_path: Path) -> None:
    """More digits than a double holds: a tie is a tie and a hair above it is not."""
    text = "time,tank.temperature\n1,21.0005\n2,21.00050000000000000000001\n3,21.0015\n4,2.10005e1\n"
    found = read(recorded(tmp_path, text))
    assert found.blocks["tank.temperature"].values.tolist() == [21000, 21001, 21002, 21000]
    assert found.rounded == 4


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "empty; a recording begins with a header"),
        (b"\n\n", "empty"),
        (b"1775182470,tank.temperature,21\n", "no column 'time'"),
        (b"time\n1\n", "no point beside time"),
        (b"time,point,value,mood\n", "column 'mood' beside"),
        (b"time,time,tank.temperature\n", "more than one column 'time'"),
        (b"point,value\n", "no column 'time'"),
        (b"time,tank.temperature,tank.temperature [degF]\n", "column 3 repeats 'tank.temperature'"),
        (b"time,tank.temperature,\n", "column 3 has no name"),
        (b"time,tank.temperature [mg/L]\n", "not measured in 'mg/L'"),
        (b"time,tank.temperature [furlong]\n", "not known"),
        (b"\xff\xfetime\n", "the header cannot be read"),
        (b'"time,point\n', "the header cannot be read"),
        (b"time,tank.temperature\n" + b"1" * 70000 + b"\n", "a line has more than 65536 bytes"),
        (b"x" * 70000, "a line has more than"),
        (b"[1]", "no SenML: record 1 is no object"),
        (b"[{]", "no SenML: "),
        (gzip.compress(LONG.encode())[:-12], "damaged or cut short"),
        (gzip.compress(LONG.encode())[:14] + b"\xff\xff\xff\xff", "damaged or cut short"),
    ],
)
def test_what_is_no_recording_is_refused(tmp_path: Path, content: bytes, told: str) -> None:
    """The error names the file and what is wrong with it."""
    path = recorded(tmp_path, content)
    with pytest.raises(RecordingRefused, match=told) as caught:
        read(path)
    assert str(path) in str(caught.value)


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """Likewise a folder."""
    with pytest.raises(RecordingRefused, match="cannot be read: No such file"):
        read(tmp_path / "none.csv")
    with pytest.raises(RecordingRefused, match="cannot be read"):
        read(tmp_path)


@pytest.mark.parametrize(("more", "refused"), [(-1, False), (0, False), (1, True)])
def test_the_longest_line(tmp_path: Path, more: int, refused: bool) -> None:
    """Below, at and above 65,536 bytes (a comment of blanks around a value)."""
    line = "1775182470,tank.oxygen,7"
    path = recorded(tmp_path, f"time,point,value\n{line}{' ' * (65536 - len(line) + more)}\n{line}\n")
    if refused:
        with pytest.raises(RecordingRefused, match="a line has more than"):
            read(path)
    else:
        assert len(read(path).blocks["tank.oxygen"]) == 1


def test_a_senml_file_beyond_the_bound_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It would have to be held in memory as a whole."""
    monkeypatch.setattr(opened, "LARGEST_PACK", 20)
    with pytest.raises(RecordingRefused, match="more than 20 bytes"):
        read(recorded(tmp_path, '[{"n":"pump.on","t":1775182470,"vb":true}]'))


def test_progress_ends_at_the_whole(tmp_path: Path) -> None:
    """Bytes as they lie on the disk, over all files, never going back."""
    paths = [recorded(tmp_path, LONG, "a.csv"), recorded(tmp_path, gzip.compress(LONG.encode()), "b.csv.gz")]
    told: list[tuple[int, int]] = []
    read_recordings(paths, POINTS, "UTC", progress=lambda done, whole: told.append((done, whole)))
    assert told == sorted(told)
    assert told[-1][0] == told[-1][1] == sum(path.stat().st_size for path in paths)


def test_a_recording_is_a_source(tmp_path: Path) -> None:
    """`read` gives the readings after one time and up to another, and nothing for other points or spans."""
    found = read(recorded(tmp_path, LONG))
    (part,) = found.read("tank.temperature", T0, T0 + 1000)
    assert rows(part) == [(T0 + 1000, 21350, 2)]
    assert list(found.read("tank.temperature", T0 + 1000, T0 + 5000)) == []
    assert list(found.read("pond.level", 0, T0)) == []
    assert Recording({}).span() is None


VALUE = st.sampled_from(["21", "21.345", "", "x", "1e3", "nan", '"7"', "1,2", "-0.0005", "1e40", " 5 "])
LINE = st.one_of(
    st.builds(
        "{},{},{}".format,
        st.sampled_from(["1775182470", "2026-04-03T02:14:30Z", "2026-04-03T02:14:31", "never", ""]),
        st.sampled_from(["tank.temperature", "tank.oxygen", "pond.level", "", "Ünknown"]),
        VALUE,
    ),
    st.text(alphabet='01,.:-TZ"x \r', max_size=30),
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(LINE, max_size=20), st.sampled_from([5, 17, 1 << 22]))
def test_every_line_is_read_or_ignored_or_bad(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lines: list[str], stretch: int
) -> None:
    """Nothing is lost without a word, and how much is read at a time makes no difference."""
    path = recorded(tmp_path, "\n".join(["time,point,value", *lines]))
    monkeypatch.setattr(opened, "STRETCH", 1 << 22)
    whole = read(path)
    monkeypatch.setattr(opened, "STRETCH", stretch)
    found = read(path)
    assert found.bad_lines == whole.bad_lines
    assert {point: rows(part) for point, part in found.blocks.items()} == {
        point: rows(part) for point, part in whole.blocks.items()
    }
    kept = sum(len(part) for part in found.blocks.values())
    told = kept + found.repeats + sum(found.ignored.values()) + found.bad_count
    filled = sum(line.removesuffix("\r") != "" for line in lines)
    assert filled - sum(line.strip(' "\r') == "" for line in lines) <= told <= filled
    for part in found.blocks.values():
        assert bool(np.all(np.diff(part.times) > 0))
