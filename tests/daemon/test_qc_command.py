"""Does `tidebed qc` give the flags of one quality test for every reading of a recording?"""

from __future__ import annotations

import contextlib
import gzip
import io
import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ioos_qc import qartod  # type: ignore[import-untyped]  # the package ships no types

from daemon.main import main
from daemon.site.load import load_site
from daemon.store import Store
from rules.block import block

Captured = pytest.CaptureFixture[str]
START = 1_775_120_400
n = None


def recording(folder: Path, values: Sequence[float | None], step: int = 60, point: str = "tank.value") -> str:
    """A CSV file with one point; step in seconds."""
    rows = [f"{START + step * k},{point},{'' if v is None else v}" for k, v in enumerate(values)]
    file = folder / "some.csv"
    file.write_text("\n".join(["time,point,value", *rows]) + "\n", encoding="utf-8")
    return str(file)


def flags(capsys: Captured, *words: str) -> list[int]:
    """The flags that the command prints with --json."""
    assert main(["qc", *words, "--json"]) == 0
    return [json.loads(line)["flag"] for line in capsys.readouterr().out.splitlines()]


@pytest.mark.parametrize(
    ("test", "pairs", "values", "expected"),
    [
        (
            "gross_range",
            ["fail_low=0", "fail_high=14", "suspect_low=6", "suspect_high=9.5"],
            [5.9, 6, 6.4, 7, 8.6, 9.5, 9.51, 14, 14.01, n, -0.01],
            [3, 1, 1, 1, 1, 1, 3, 3, 4, 9, 4],
        ),
        ("gross_range", ["fail_low=0", "fail_high=25"], [0, 5, 25, 26, -1], [1, 1, 1, 4, 4]),
        ("spike", ["suspect=25", "fail=50"], [10, 12, 999.99, 13, 15, 40, 9, 9], [2, 4, 4, 4, 1, 3, 1, 2]),
        ("spike", ["suspect=0.5", "fail=1.5", "method=differential"], [20, 20, 25, 25, 20], [2, 1, 1, 1, 2]),
        ("rate_of_change", ["suspect=0.016666666666666666"], [20, 21, 22, 24, 23, 23], [2, 1, 1, 3, 1, 1]),
        ("rate_of_change", ["suspect=1/60", "fail=1/30"], [20, 20.5, 21.5, 21.5, 19, 19], [2, 1, 1, 1, 4, 1]),
        (
            "flat_line",
            ["suspect_time=180", "fail_time=300", "tolerance=1e-06"],
            [7.1, 7.1, 7.1, 7.1, 7.1, 7.1, 7.1, 7.1],
            [1, 1, 1, 3, 3, 4, 4, 4],
        ),
        ("attenuated", ["suspect=5", "fail=3.5", "kind=range"], [1, 2, 3, 4], [4, 4, 4, 4]),
        ("attenuated", ["suspect=1.2", "fail=0.5"], [1, 2, 3, n, 4], [3, 3, 3, 9, 3]),
        ("attenuated", ["suspect=1.2"], [n, 2], [9, 2]),
        ("attenuated", ["suspect=1.2"], [n], [9]),
        ("attenuated", ["suspect=1.2", "min_readings=3"], [2, 2], [2, 2]),
        ("attenuated", ["suspect=1.2", "min_readings=3"], [2, n, 2, 2], [3, 9, 3, 3]),
        (
            "attenuated",
            ["suspect=0.5", "fail=0.2", "kind=range", "period=240", "min_readings=4"],
            [20, 20.1, 20, 20.1, 20, 22, 24, 26],
            [2, 2, 2, 4, 4, 1, 1, 1],
        ),
        (
            "attenuated",
            ["suspect=0.5", "fail=0.2", "kind=range", "period=3 min"],
            [20, 20.3, 20, 20.3, 20, 20.1, 20, 20.1],
            [2, 3, 3, 3, 3, 3, 4, 4],
        ),
        ("gap", ["limit=59"], [1, 2, n, 3], [1, 4, 9, 4]),
        ("climatology", ["spans=1-3:10..20;4-9:1.5..2(-1..5)"], [1.4, 1.5, 2, 5, 5.1], [3, 1, 1, 3, 4]),
        ("climatology", ["spans=@10:00-11:00:3..4; @09:00-09:02:1..2"], [1, 0, 9], [1, 3, 2]),
        ("climatology", ['spans=[{"months": "4", "low": 1.5, "high": 2}]'], [1.4, 1.5], [3, 1]),
        ("codes", ["values=-127,85"], [85, 20, -127, 84.9], [4, 1, 4, 1]),
        ("syntax", [], [85, n], [1, 9]),
    ],
)
def test_flags_of_one_test(
    tmp_path: Path, capsys: Captured, test: str, pairs: list[str], values: Sequence[float | None], expected: list[int]
) -> None:
    """Published vectors (see tests/references/test_reference_quality.py) through the command line, bare numbers."""
    assert flags(capsys, test, recording(tmp_path, values), *pairs) == expected


def climate(folder: Path) -> str:
    """The readings of the climatology vector: at the turns of the seasons, one of them without a value."""
    file = folder / "year.csv"
    file.write_text(
        "time,tank.temperature [degC]\n"
        "2026-01-15T00:00:00Z,9.9\n2026-03-31T23:59:00Z,10\n2026-04-01T00:00:00Z,14.9\n2026-07-01T00:00:00Z,28\n"
        "2026-07-01T00:01:00Z,28.1\n2026-09-30T00:00:00Z,\n2026-10-01T00:00:00Z,20\n2026-12-25T00:00:00Z,15\n",
        encoding="utf-8",
    )
    return str(file)


@pytest.mark.parametrize(
    ("spans", "expected"),
    [
        ("1-3:10..20; 4-9:15..28", [3, 1, 3, 1, 3, 9, 2, 2]),
        ("1-3:10 degC..20; 4-9:59 degF..28", [3, 1, 3, 1, 3, 9, 2, 2]),
        ("1-3:9.9..20;4-9:14.9..28.1", [1, 1, 1, 1, 1, 9, 2, 2]),
        ("1-3:10..20(9.9..40); 4-9:15..28(15..28)", [3, 1, 4, 1, 4, 9, 2, 2]),
        ("10-1:10..16", [3, 2, 2, 2, 2, 9, 3, 1]),
        ("12@00:00-06:00:..14.9; 7@00:00-00:01:..20; 3@23:00-01:00:10.1..", [2, 3, 2, 3, 2, 9, 2, 3]),
        (":..25; 7:..28", [1, 1, 1, 1, 3, 9, 1, 1]),
        (
            '[{"months": "1-3", "low": 10, "high": 20}, {"months": "4-9", "low": "59 degF", "high": 28}]',
            [3, 1, 3, 1, 3, 9, 2, 2],
        ),
    ],
)
def test_climatology_by_month_and_time_of_day(
    tmp_path: Path, capsys: Captured, spans: str, expected: list[int]
) -> None:
    """First the vector of ioos_qc 3.0.0 (which passes the missing value); then ends, hours and overlaps by the rule."""
    assert flags(capsys, "climatology", climate(tmp_path), f"spans={spans}") == expected


def test_months_and_hours_are_those_of_the_zone(tmp_path: Path, capsys: Captured) -> None:
    """In Auckland, 13 h ahead of UTC then, the last minute of March in UTC is April."""
    words = ("climatology", climate(tmp_path), "spans=4:20..30")
    assert flags(capsys, *words) == [2, 2, 3, 2, 2, 9, 2, 2]
    assert flags(capsys, *words, "--timezone", "Pacific/Auckland") == [2, 3, 3, 2, 2, 9, 2, 2]


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_climatology_is_that_of_the_library_at_the_command_line(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Spans of months as ioos_qc 3.0.0 has them, on random years; a missing value is 9 here and 1 there."""
    days = sorted(data.draw(st.sets(st.integers(0, 729), min_size=1, max_size=30)))
    values = [data.draw(st.one_of(st.none(), st.integers(-40, 40).map(lambda k: k / 8))) for _ in days]
    config, spans = qartod.ClimatologyConfig(), []
    for _ in range(data.draw(st.integers(1, 3))):
        first = data.draw(st.integers(1, 12))
        last = data.draw(st.integers(first, 12))
        usual = data.draw(st.integers(1, 24)) / 8
        possible = usual + data.draw(st.integers(0, 16)) / 8
        config.add((first, last), (-usual, usual), fspan=(-possible, possible), period="month")
        spans.append(f"{first}-{last}:{-usual}..{usual}({-possible}..{possible})")
    moments = np.array(days).astype("timedelta64[D]") + np.datetime64("2025-01-01")
    column = np.array([np.nan if value is None else value for value in values])
    expected = qartod.climatology_test(config, column, moments, np.full(len(days), np.nan)).tolist()
    expected = [9 if value is None else flag for value, flag in zip(values, expected, strict=True)]
    file = tmp_path_factory.mktemp("years") / "years.csv"
    rows = [
        f"{moment}T00:00:00Z,{'' if value is None else value}" for moment, value in zip(moments, values, strict=True)
    ]
    file.write_text("\n".join(["time,tank.value", *rows]) + "\n", encoding="utf-8")
    with contextlib.redirect_stdout(io.StringIO()) as told:
        assert main(["qc", "climatology", str(file), f"spans={';'.join(spans)}", "--json"]) == 0
    assert [json.loads(line)["flag"] for line in told.getvalue().splitlines()] == expected


@pytest.mark.parametrize(
    ("spans", "told"),
    [
        ("0-3:1..2", "months '0-3' are not understood"),
        ("1-13:1..2", "months '1-13' are not understood"),
        ("4-9@25:00-26:00:1..2", "hours '25:00-26:00' are not understood"),
        ("4:2..1", "swap them"),
        ("4:1..2(1.5..3)", "what fails must lie further out"),
        ("4:1", "write spans as in"),
        ("4:..", "a span has no limit"),
        ("4:1 mg/L..2", "tank.temperature: mg/L measures concentration, not temperature (degC); it is in degC"),
    ],
)
def test_spans_that_make_no_sense_are_refused(tmp_path: Path, capsys: Captured, spans: str, told: str) -> None:
    """Months and hours that are none, a span upside down, without limits, or that reaches out of the possible one."""
    assert main(["qc", "climatology", climate(tmp_path), f"spans={spans}", "--json"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert told in captured.err


def test_a_recording_without_readings_is_told(tmp_path: Path, capsys: Captured) -> None:
    """A header and nothing under it: no flags, and the reason on standard error."""
    file = recording(tmp_path, [])
    assert main(["qc", "spike", file, "suspect=1", "--json"]) == 0
    captured = capsys.readouterr()
    assert (captured.out, captured.err) == ("", f"{file} holds no readings\n")


@pytest.mark.parametrize(
    ("test", "pairs", "values", "expected"),
    [
        ("gross_range", ["fail_low=-2", "fail_high=3"], [-2.1, -2, -1.9, 2.9, 3, 3.1], [4, 1, 1, 1, 1, 4]),
        ("gross_range", ["suspect_low=-2", "suspect_high=3"], [-2.1, -2, -1.9, 2.9, 3, 3.1], [3, 1, 1, 1, 1, 3]),
        ("gross_range", ["fail_low=-2.05"], [-2.1, -2], [4, 1]),
        ("gross_range", ["suspect_low=0.5"], [0.4], [3]),
        ("gross_range", ["suspect_high=0.5"], [0.6], [3]),
        ("spike", ["suspect=0.5", "fail=1"],
         [1, 1.4, 1, 1.5, 1, 1.6, 1, 2, 1, 2.1, 1], [2, 1, 1, 1, 3, 3, 3, 3, 4, 4, 2]),
        ("rate_of_change", ["suspect=0.1 1/min", "fail=0.2 1/min"], [1, 1.1, 1.3, 1, 1.2, 1.1], [2, 1, 3, 4, 3, 1]),
        ("flat_line", ["suspect_time=60", "fail_time=120", "tolerance=0.1"], [1, 1.1, 1, 1.2], [1, 3, 4, 1]),
        ("attenuated", ["suspect=0.3", "fail=0.2", "kind=range", "period=120"],
         [1, 1.1, 1.3, 1.6, 2.0], [2, 4, 3, 1, 1]),
        ("attenuated", ["suspect=0.1", "period=120"], [1, 1.2], [2, 1]),
        ("attenuated", ["suspect=0.1001", "period=120"], [1, 1.2], [2, 3]),
        ("gap", ["limit=60"], [1, 1], [1, 1]),
        ("gap", ["limit=59.999"], [1, 1], [1, 4]),
        ("codes", ["values=85"], [84.9, 85, 85.1], [1, 4, 1]),
    ],
)  # fmt: skip
def test_a_limit_itself_passes(
    tmp_path: Path, capsys: Captured, test: str, pairs: list[str], values: Sequence[float | None], expected: list[int]
) -> None:
    """Below, at and above every limit; how long and how flat are met where they are reached, how much where passed."""
    assert flags(capsys, test, recording(tmp_path, values), *pairs) == expected


def test_of_two_readings_of_one_instant_the_first_counts(tmp_path: Path, capsys: Captured) -> None:
    """A repeat with another value is left out and told; two points in one recording are judged apart."""
    file = tmp_path / "two.csv"
    rows = ["0,a,1", "0,a,9", "0,b,9", "60,a,1", "60,b,9", "60,b,9", "120,a,1", "120,b,1"]
    file.write_text("\n".join(["time,point,value", *(f"{row}" for row in rows)]) + "\n", encoding="utf-8")
    assert main(["qc", "rate_of_change", str(file), "suspect=1/60", "--json"]) == 0
    captured = capsys.readouterr()
    found = [json.loads(line) for line in captured.out.splitlines()]
    assert [(one["point"], one["flag"]) for one in found] == [
        ("a", 2), ("b", 2), ("a", 1), ("b", 1), ("a", 1), ("b", 3)
    ]  # fmt: skip
    assert captured.err == "2 readings left out: the point had one at that time before\n"


def test_a_line_tells_time_point_value_and_flag(tmp_path: Path, capsys: Captured) -> None:
    """A missing reading has no value."""
    assert main(["qc", "codes", recording(tmp_path, [20.5, n]), "values=85", "--json"]) == 0
    assert [json.loads(line) for line in capsys.readouterr().out.splitlines()] == [
        {"t": "2026-04-02T09:00:00.000Z", "point": "tank.value", "value": 20.5, "flag": 1},
        {"t": "2026-04-02T09:01:00.000Z", "point": "tank.value", "value": None, "flag": 9},
    ]


def several(folder: Path) -> str:
    """Two points in the wide form, gzipped, with units."""
    file = folder / "wide.csv.gz"
    rows = [
        "time,high [degC],low [degF]",
        "2026-04-02T10:00:00Z,20,68",
        "2026-04-02T10:01:00Z,26,68",
        "2026-04-02T10:02:00Z,20,",
    ]
    file.write_bytes(gzip.compress("\n".join(rows).encode()))
    return str(file)


def test_every_point_is_judged_or_the_one_that_is_named(tmp_path: Path, capsys: Captured) -> None:
    """In order of time; limits may carry a unit of their own."""
    assert flags(capsys, "gross_range", several(tmp_path), "fail_high=70 degF") == [1, 1, 4, 1, 1, 9]
    assert flags(capsys, "gross_range", several(tmp_path), "fail_high=70 degF", "--point", "high") == [1, 4, 1]


def test_neighbours_are_points_of_the_same_recording(tmp_path: Path, capsys: Captured) -> None:
    """20 degC against 68 degF is no difference."""
    words = ("neighbour", several(tmp_path), "points=low", "suspect=5", "--point", "high")
    assert flags(capsys, *words) == [1, 3, 1]


def test_people_are_told_how_many_and_when(tmp_path: Path, capsys: Captured) -> None:
    """Counts of each flag, and the spans of what did not pass, in the time zone that is asked for."""
    file = recording(tmp_path, [20, 85, 85, 20, n, 85])
    assert main(["qc", "codes", file, "values=85", "--timezone", "Europe/Dublin"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "tank.value: 6 readings: 2 pass, 3 fail, 1 missing",
        "  fail     2026-04-02 10:01:00 to 2026-04-02 10:02:00 (2 readings)",
        "  fail     2026-04-02 10:05:00",
    ]


def test_lines_that_cannot_be_read_are_told(tmp_path: Path, capsys: Captured) -> None:
    """By number on standard error, and the rest is judged; --strict stops there."""
    file = Path(recording(tmp_path, [20, 21]))
    file.write_text(file.read_text(encoding="utf-8") + "yesterday,tank.value,20\n", encoding="utf-8")
    assert main(["qc", "syntax", str(file), "--json"]) == 0
    captured = capsys.readouterr()
    assert len(captured.out.splitlines()) == 2
    assert "some.csv:4" in captured.err
    assert main(["qc", "syntax", str(file), "--strict"]) == 2


def test_what_the_daemon_has_kept_can_be_judged(tmp_path: Path, capsys: Captured) -> None:
    """`store:` reads the store of the site file; the flags that it holds are judged anew."""
    site_file = tmp_path / "site.toml"
    site_file.write_text('[[point]]\nid = "tank.ph"\nquantity = "ph"\nresolution = 0.1\n', encoding="utf-8")
    site = load_site(site_file)
    with Store(site.store_path, site.plan.points) as store:
        store.commit([block("tank.ph", [1000, 2000, 3000], [70, 99, None], [4, 1, 9])])
    assert flags(capsys, "gross_range", "store:", "suspect_high=9", "--site", str(site_file)) == [1, 3, 9]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["spyke", "FILE"], "did you mean spike?"),
        (["sintax", "FILE"], "did you mean syntax?"),
        (["spike", "FILE"], "spike has no limit"),
        (["spike", "FILE", "suspekt=1"], "did you mean suspect?"),
        (["spike", "FILE", "suspect=some"], "suspect=some is no number"),
        (["spike", "FILE", "suspect"], "no KEY=VALUE"),
        (["spike", "FILE", "suspect=1", "method=median"], "'average' or 'differential'"),
        (["spike", "none.csv", "suspect=1"], "cannot be read"),
        (["gap", "FILE"], "write limit=VALUE"),
        (["gap", "FILE", "limit=soon"], "write a number with s, min, h or d"),
        (["gross_range", "FILE", "fail_low=3", "fail_high=1"], "swap them"),
        (["gross_range", "FILE", "fail_low=3", "--point", "tank.valu"], "did you mean tank.value?"),
        (["climatology", "FILE", "spans=spring"], "write spans as in"),
        (["attenuated", "FILE"], "attenuated has no limit"),
        (["attenuated", "FILE", "suspect=-1"], "attenuated: a limit is negative"),
        (["attenuated", "FILE", "fail=-1", "period=60"], "attenuated: a limit is negative"),
        (["spike", "FILE", "fail=-1"], "spike: a limit is negative"),
        (["rate_of_change", "FILE", "fail=-1/60"], "rate_of_change: a limit is negative"),
        (["gross_range", "FILE", "fail_low=5 degC"], "the recording names no unit for it; write bare numbers"),
        (["attenuated", "FILE", "suspect=1", "kind=mean"], "'std' or 'range'"),
        (["syntax", "FILE", "strict=1"], "syntax has no settings"),
        (["neighbour", "FILE", "points=other", "fail=1"], "known points: tank.value"),
    ],
)
def test_what_cannot_be_judged_ends_in_2_with_the_mend(
    tmp_path: Path, capsys: Captured, words: list[str], told: str
) -> None:
    """What is wrong and what to write instead, on standard error."""
    file = recording(tmp_path, [1, 2, 3])
    assert main(["qc", *(file if word == "FILE" else word for word in words)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert told in captured.err
