"""Does `tidebed qc` give the flags of one quality test for every reading of a recording?"""

from __future__ import annotations

import gzip
import json
from collections.abc import Sequence
from pathlib import Path

import pytest

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
