"""Does `tidebed tune` recommend what the labels say, tell it to people and programs, and change the file with care?"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from daemon.main import main
from tests.replays import START

SITE = """\
[site]
name = "Alder Lane"
timezone = "Europe/Dublin"

[[point]]
id = "tank.temperature"
quantity = "water_temperature"
resolution = 0.1

[[point]]
id = "loop.flow"
quantity = "flow"

[[rule]]
id = "tank.warm" # the keeper's words
kind = "band"
point = "tank.temperature"
high = 29.0 # too high to see it
low = 10
deadband = 0.5

[[rule]]
id = "loop.stopped"
kind = "stopped"
evidence = [{ point = "loop.flow", under = 2 }]
"""
VALUES = [24.0] * 100 + [25.5] * 20 + [24.0] * 100 + [27.5] * 60 + [24.0] * 100
"""Minutes: a warm spell of no account at 100, an event at 220."""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a site file, a recording and its labels."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    lines = [f"{START // 1000 + 60 * minute},tank.temperature,{value}" for minute, value in enumerate(VALUES)]
    (tmp_path / "noon.csv").write_text("\n".join(["time,point,value", *lines, ""]), encoding="utf-8")
    begin = START // 1000 + 60 * 220
    (tmp_path / "noon.labels.csv").write_text(
        f"start,end,rule,note\n{begin},{begin + 3600},tank.warm,heater stuck\n{begin},{begin + 60},loop.stopped,\n",
        encoding="utf-8",
    )
    return tmp_path


TUNE = ("tune", "site.toml", "noon.csv", "--rule", "tank.warm", "--vary", "high=24:30:0.5")


def lines_of(capsys: pytest.CaptureFixture[str], *words: str) -> list[dict[str, Any]]:
    """The JSON lines that are printed."""
    assert main([*TUNE, *words, "--json"]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_a_keeper_reads_the_trade_off_in_80_columns(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What it rests on, the settings that no other beats, today's, and one recommended with its reason."""
    assert main([*TUNE, "--vary", "on_delay=0:20 min:5 min", "--vary", "deadband=0:1:0.5"]) == 0
    text = capsys.readouterr().out
    assert max(len(line) for line in text.splitlines()) <= 80
    flat = " ".join(text.split())
    assert "1 labelled event of this rule 1 label of other rules left out 195 settings tried" in flat
    assert "Recommended: high = 26.5" in flat
    assert "It catches 1 of 1 labelled event" in flat


def test_a_line_a_setting_and_one_for_the_recommendation(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: up to 25.0 the first spell is false, and at 24.0 it never ends; from 27.5 the event is missed."""
    *settings, last = lines_of(capsys)
    assert {line["setting"]["high"]: (line["caught"], line["missed"], line["false_alarms"]) for line in settings} == {
        24.0: (0, 1, 1), 24.5: (1, 0, 1), 25.0: (1, 0, 1), 25.5: (1, 0, 0), 26.0: (1, 0, 0), 26.5: (1, 0, 0),
        27.0: (1, 0, 0), 27.5: (0, 1, 0), 28.0: (0, 1, 0), 28.5: (0, 1, 0), 29.0: (0, 1, 0), 29.5: (0, 1, 0),
        30.0: (0, 1, 0),
    }  # fmt: skip
    assert [line["setting"]["high"] for line in settings if line["today"]] == [29.0]
    assert last["recommended"] == {"high": 26.5}
    assert last["keep"] is False


def test_processes_give_the_same_lines(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two workers, any rule."""
    assert lines_of(capsys, "--workers", "2") == lines_of(capsys)


def test_write_shows_the_change_and_keeps_the_rest(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line changes, its comment stays."""
    assert main([*TUNE, "--write"]) == 0
    assert "-high = 29.0 # too high to see it\n+high = 26.5 # too high to see it" in capsys.readouterr().out
    assert (folder / "site.toml").read_text(encoding="utf-8") == SITE.replace("high = 29.0", "high = 26.5")


def test_nothing_is_written_where_todays_setting_is_kept(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The file stays to the byte."""
    site = SITE.replace("high = 29.0", "high = 26.5")
    (folder / "site.toml").write_text(site, encoding="utf-8")
    assert main([*TUNE, "--write"]) == 0
    assert "stays as it is" in capsys.readouterr().out
    assert (folder / "site.toml").read_text(encoding="utf-8") == site


def test_a_picture_is_drawn(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A PNG, and its name is told."""
    assert main([*TUNE, "--plot", "warm.png"]) == 0
    assert "Picture: warm.png" in capsys.readouterr().out
    assert (folder / "warm.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--vary", "hihg=24:30:1"), "tank.warm has no number called hihg; did you mean high?"),
        (("--vary", "deadband=0:1:0"), "the step is zero"),
        (("--vary", "deadband=1:0:0.5"), "the step leads away from LAST"),
        (("--vary", "deadband="), "write deadband=FIRST:LAST:STEP"),
        (("--vary", "deadband=0:1:0.000001"), "more than 1,000,000 settings"),
        (("--vary", "high=24:25:1"), "high stands twice"),
        (("--vary", "on_delay=1:2:1"), "is no duration"),
        (("--side", "low"), "--vary high does nothing to the side low"),
        (("--side", "lo"), "has no such side; did you mean low?"),
        (("--rule", "tank.worm"), "there is no such rule; did you mean tank.warm?"),
        (("--rule", "loop.stopped", "--side", "stopped"), "loop.stopped has no number called high"),
        (("--labels", "other.labels.csv"), "has no label of tank.warm; it has loop.stopped: mark what was real"),
        (("--labels", "worm.labels.csv"), "is of rule tank.worm; did you mean tank.warm?"),
        (("--labels", "past.labels.csv"), "no label of tank.warm lies in a recording; the first lasts from 2025"),
        (("--labels", "gone.labels.csv"), "labels gone.labels.csv cannot be read: No such file or directory"),
        (("--scheduler", "nonsense"), "--scheduler nonsense: is no address; write it as in tcp://127.0.0.1:8786"),
        (("--workers", "0"), "at least one must do the work"),
        (("--labels", "bad.csv"), "bad.csv:2: the label ends before it starts"),
        (("--scheduler", "nowhere"), "--scheduler"),
    ],
)
def test_what_cannot_be_done_is_told(
    folder: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], told: str
) -> None:
    """Exit 2, with what is wrong and how to mend it."""
    (folder / "bad.csv").write_text("start,end,rule,note\n2000,1000,tank.warm,\n", encoding="utf-8")
    for name, line in (
        ("other", "1775120400,1775124000,loop.stopped,"),
        ("worm", "1775120400,1775124000,tank.worm,"),
        ("past", "2025-04-02T09:00Z,2025-04-02T10:00Z,tank.warm,"),
    ):
        (folder / f"{name}.labels.csv").write_text(f"start,end,rule,note\n{line}\n", encoding="utf-8")
    if words == ("--scheduler", "nowhere"):
        words = (*words, "--workers", "2")
    assert main([*TUNE, *words]) == 2
    assert told in capsys.readouterr().err


def test_a_recording_without_the_rules_point_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By its name, with the point."""
    words = ["tune", "site.toml", "noon.csv", "--rule", "loop.stopped", "--vary", "on_delay=0:9 min:1 min"]
    assert main(words) == 2
    assert "noon.csv has no reading of loop.flow, at which loop.stopped looks" in capsys.readouterr().err
