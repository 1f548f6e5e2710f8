"""Does `tidebed replay` tell a keeper what happened, and a program the same events as the engine?"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from adapters.recordings import read_recordings
from daemon.main import main
from daemon.site.load import load_site
from daemon.store import Store
from demo_replay.replay import replay
from rules.acts import Act, ActKind
from rules.engine import Engine
from tests.replays import HOUR, MINUTE, START

SITE = """\
[site]
name = "Alder Lane"
timezone = "Europe/Dublin"

[[point]]
id = "tank.temperature"
name = "Fish tank"
quantity = "water_temperature"
resolution = 0.1

[[point]]
id = "loop.flow"
quantity = "flow"

[[rule]]
id = "tank.warm"
kind = "band"
point = "tank.temperature"
high = 26.0
deadband = 1
on_delay = "10 min"
priority = "high"
title = "Fish tank too warm"

[[rule]]
id = "flow.silent"
kind = "silent"
point = "loop.flow"

[[stage]]
id = "shade.roof"
action = "shade"
point = "tank.temperature"
on = 26
off = 25

[[person]]
id = "anna"
name = "Anna"
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a site file and a recording of an hour: warm from 10:10 to 10:40 local time."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    values = [25.0] * 10 + [27.0] * 20 + [27.5] * 10 + [25.0] * 20
    lines = [f"{START // 1000 + 60 * index},tank.temperature,{value}" for index, value in enumerate(values)]
    (tmp_path / "noon.csv").write_text("\n".join(["time,point,value", *lines, ""]), encoding="utf-8")
    return tmp_path


def told(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    """What `tidebed replay` prints for these words."""
    assert main(["replay", *words]) == code
    found = capsys.readouterr()
    return found.out if code == 0 else found.err


def test_a_keeper_reads_what_happened_in_80_columns(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Alarm with onset, raising, length, peak and end; decisions; messages with their person; in local time."""
    text = told(capsys, "site.toml", "noon.csv")
    assert max(len(line) for line in text.splitlines()) <= 80
    flat = " ".join(text.split())
    assert "Thu 2 Apr 2026 10:00 to Thu 2 Apr 2026 10:59, Europe/Dublin" in flat
    assert "noon.csv: 60 readings of 1 point" in flat
    assert "Alarms: 1 (1 high)" in flat
    assert "2 Apr 10:10 ▲ high 30 min 27.5 °C over 10:20 tank.warm high" in flat
    assert "2 Apr 10:10 shade.roof on tank.temperature above 26" in flat
    assert "2 Apr 10:21 Anna Fish tank too warm" in flat
    assert "2 Apr 10:40 Anna Over: Fish tank too warm" in flat
    assert "\x1b" not in text


def test_points_that_the_recording_lacks_are_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the rules that rest on them, and they raise no alarm."""
    text = told(capsys, "site.toml", "noon.csv")
    assert "Not in the recording, so out of service: loop.flow" in text
    assert "rules that rest on them alone: flow.silent" in text


def test_numbers_are_shown_in_the_keepers_unit(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A peak of 27.5 °C is 81.5 °F."""
    (folder / "site.toml").write_text(SITE + '\n[site.display]\ntemperature = "degF"\n', encoding="utf-8")
    assert "81.5 °F" in told(capsys, "site.toml", "noon.csv")


def test_the_peak_of_what_is_worked_out_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The lowest of a flow against its commissioning value."""
    lines = [f"{START // 1000 + 60 * index},loop.flow,{value}" for index, value in enumerate([20] * 10 + [8, 6, 9, 20])]
    (folder / "flow.csv").write_text("\n".join(["time,point,value", *lines, ""]), encoding="utf-8")
    (folder / "site.toml").write_text(
        SITE
        + '[[derived]]\nid = "flow.share"\nkind = "ratio"\nof = "loop.flow"\nby = "20 L/min"\nquantity = "ratio"\n'
        + '[[rule]]\nid = "flow.slow"\nkind = "band"\npoint = "flow.share"\nlow = 0.5\n',
        encoding="utf-8",
    )
    flat = " ".join(told(capsys, "site.toml", "flow.csv").split())
    assert "2 Apr 10:10 ● medium 3 min 0.3 over 10:10 flow.slow low" in flat


def test_json_lines_are_the_engines_events(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each line is what the engine said, and nothing else is printed there."""
    text = told(capsys, "site.toml", "noon.csv", "--json")
    plan = load_site("site.toml").plan
    source = read_recordings([folder / "noon.csv"], {p.id: p for p in plan.points}, plan.timezone)
    engine = Engine(replay(plan, source).service.plan, START)
    events = engine.step(
        source.read("tank.temperature", START - 1, START + HOUR), (), START + 59 * MINUTE + plan.settle
    )
    assert [json.loads(line) for line in text.splitlines()] == [event.line() for event in events]
    kinds = [json.loads(line)["type"] for line in text.splitlines()]
    assert {"alarm", "decision", "notice"} == set(kinds)


def test_json_tells_on_standard_error_what_is_out_of_service(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """So that standard output holds events alone."""
    assert main(["replay", "site.toml", "noon.csv", "--json"]) == 0
    assert "out of service: loop.flow" in capsys.readouterr().err


def test_from_and_to_choose_the_part_that_is_shown(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From 10:30 the return is shown; the alarm that stood already is told with its onset; to 10:35 it is still on."""
    lines = told(capsys, "site.toml", "noon.csv", "--json", "--from", "2026-04-02T10:30").splitlines()
    assert [json.loads(line)["t"] for line in lines if json.loads(line)["type"] == "alarm"] == [
        "2026-04-02T09:40:00.000Z"
    ]
    flat = " ".join(told(capsys, "site.toml", "noon.csv", "--from", "2026-04-02T10:30").split())
    assert "2 Apr 10:10 ▲ high 30 min 27.5 °C over" in flat
    flat = " ".join(told(capsys, "site.toml", "noon.csv", "--to", "2026-04-02T09:35Z").split())
    assert "2 Apr 10:10 ▲ high 25 min 27.5 °C still on 10:20 tank.warm high so far" in flat


def test_bad_lines_are_counted_and_each_is_told_by_its_number(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nine lines that are no readings: five are shown with file, line and reason, the others with file and line."""
    with (folder / "noon.csv").open("a", encoding="utf-8") as file:
        file.write("".join(f"{START // 1000},tank.temperature,warm{index}\n" for index in range(7)))
        file.write(f"{START // 1000 - 1},tank.temperature,27.1\n,,\n")
        file.write(f"{START // 1000 - 2},tank.temperature,27.1\n{START // 1000 - 3},,27\n")
    text = told(capsys, "site.toml", "noon.csv")
    assert "9 lines could not be read and left out:" in text
    assert "noon.csv:62:" in text
    assert "noon.csv:66:" in text
    assert "noon.csv:67:" not in text
    assert "and 4 more, noon.csv:67-68,70,72; --strict stops at the first" in text


def test_strict_stops_at_the_first_bad_line(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, with file and line."""
    with (folder / "noon.csv").open("a", encoding="utf-8") as file:
        file.write(f"{START // 1000},tank.temperature,warm\n")
    assert "noon.csv:62:" in told(capsys, "site.toml", "noon.csv", "--strict", code=2)


def test_readings_that_were_left_out_are_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Points that the site file lacks, times that stand twice, and values finer than the resolution."""
    with (folder / "noon.csv").open("a", encoding="utf-8") as file:
        file.write(f"{START // 1000},tank.temperature,26\n{START // 1000 + 1},tank.temperature,25.04\n")
        file.write(f"{START // 1000},pond.level,3\n")
    text = told(capsys, "site.toml", "noon.csv")
    assert "pond.level (1)" in text
    assert "1 reading left out: the point had one at that time before" in text
    assert "1 value rounded to the point's resolution" in text


def test_a_picture_is_drawn_where_it_is_asked_for(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A PNG; the labels beside the recording are in it; and its name is told."""
    assert "Picture: noon.png" in told(capsys, "site.toml", "noon.csv", "--plot", "noon.png")
    assert (folder / "noon.png").read_bytes().startswith(b"\x89PNG")
    plain = (folder / "noon.png").stat().st_size
    (folder / "noon.labels.csv").write_text(
        "start,end,rule,note\n2026-04-02T10:10,2026-04-02T10:40,tank.warm,sun\n", encoding="utf-8"
    )
    told(capsys, "site.toml", "noon.csv", "--plot", "noon.png")
    assert (folder / "noon.png").stat().st_size > plain


@pytest.mark.parametrize("name", ["noon.jpg", "nowhere/noon.png"])
def test_a_picture_needs_a_name_that_can_be_written(
    folder: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    """It is refused before anything is replayed."""
    assert f"--plot {name}: write a name that ends in .png" in told(
        capsys, "site.toml", "noon.csv", "--plot", name, code=2
    )


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["site.toml", "none.csv"], "none.csv"),
        (["none.toml", "noon.csv"], "site file none.toml cannot be read"),
        (["site.toml", "noon.csv", "--from", "soon"], "--from 'soon' is no time; write 2026-04-03T02:14"),
        (["site.toml", "noon.csv", "--from", "2027-01-01"], "choose another --from or --to"),
        (["site.toml", "noon.csv", "--from", "2026-04-02T11:00", "--to", "2026-04-02T10:30"], "swap its ends"),
        (["site.toml", "store:", "noon.csv"], "store: stands alone"),
        (["site.toml", "noon.csv", "--points", "loop.flow"], "name its file with --plot as well"),
        (
            ["site.toml", "noon.csv", "--plot", "a.png", "--points", "loop.flw"],
            "no such point; did you mean loop.flow?",
        ),
        (["site.toml", "strange.csv"], "it holds tank.temp: name its points as the site file does, did you mean tank"),
        (["site.toml", "broken.csv"], "no line of it can be read; the first is broken.csv:2: 'warm' is not a number"),
        (["site.toml", "bare.csv"], "bare.csv: there is no reading in it"),
    ],
)
def test_what_cannot_be_done_is_told_with_exit_2(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str], message: str
) -> None:
    """What, where, and how to mend it."""
    header = "time,point,value\n"
    (folder / "strange.csv").write_text(f"{header}2026-04-02T10:00:00,tank.temp,25\n", encoding="utf-8")
    (folder / "broken.csv").write_text(f"{header}2026-04-02T10:00:00,tank.temperature,warm\n", encoding="utf-8")
    (folder / "bare.csv").write_text(header, encoding="utf-8")
    assert message in told(capsys, *words, code=2)


def test_the_daemons_own_store_is_replayed_with_its_acts(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`store:` gives the readings and what people did: acknowledged at 10:30, normal at 10:40."""
    plan = load_site("site.toml").plan
    source = read_recordings([folder / "noon.csv"], {p.id: p for p in plan.points}, plan.timezone)
    acknowledged = Act(START + 30 * MINUTE, ActKind.ACKNOWLEDGE, who="anna", rule="tank.warm")
    with Store(folder / "tidebed.sqlite", plan.points) as store:
        store.commit(list(source.read("tank.temperature", START - 1, START + HOUR)), acts=[acknowledged])
    lines = [json.loads(line) for line in told(capsys, "site.toml", "store:", "--json").splitlines()]
    spoken = [line for line in lines if line["type"] == "alarm" and line["rule"] == "tank.warm"]
    assert [line["state"] for line in spoken] == ["unacknowledged", "acknowledged", "normal"]
    assert {line["rule"] for line in lines if line["type"] == "alarm"} > {"tank.warm"}, (
        "points never heard were watched"
    )
    assert [line["who"] for line in lines if line["type"] == "act"] == ["anna"]


def test_the_installed_command_replays_and_exits_0_though_there_are_alarms(folder: Path) -> None:
    """The program itself, with its output piped; nothing is drawn on standard error there."""
    command = Path(sys.executable).with_name("tidebed")
    done = subprocess.run(
        [command, "replay", "site.toml", "noon.csv"],
        capture_output=True, text=True, check=False, cwd=folder, env={**os.environ, "COLUMNS": "80"}, encoding="utf-8",
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert "▲ high" in done.stdout


def test_what_lies_between_two_recordings_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Beyond an hour, whichever comes first in the command; recordings that touch leave no word."""
    end = START // 1000 + 59 * 60
    for name, begin in (("near.csv", end + 3600), ("far.csv", end + 3601), ("months.csv", end + 90 * 86400)):
        (folder / name).write_text(f"time,point,value\n{begin},tank.temperature,25\n", encoding="utf-8")
    assert "Nothing was recorded" not in told(capsys, "site.toml", "noon.csv", "near.csv")
    assert "(1 h), which" in " ".join(told(capsys, "site.toml", "noon.csv", "far.csv").split())
    text = " ".join(told(capsys, "site.toml", "months.csv", "noon.csv").split())
    assert "Nothing was recorded between 2026-04-02T09:59:00.000Z and 2026-07-01T09:59:00.000Z (90 d), which is" in text
    assert "replay the recordings one by one" in text
    assert text.count("Nothing was recorded") == 1


def test_the_hour_that_the_clock_change_repeats_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In words, with how to write such times; Irish clocks go back on the last Sunday of October (tz database)."""
    times = ["00:59:59", "01:00:00", "01:59:59", "01:00:00", "02:00:00"]
    lines = [f"2026-10-25T{time},tank.temperature,25" for time in times]
    (folder / "night.csv").write_text("\n".join(["time,point,value", *lines, ""]), encoding="utf-8")
    text = " ".join(told(capsys, "site.toml", "night.csv").split())
    assert "3 local times within what the clock change repeats, taken as before the change; to tell them" in text
    assert "1 reading left out: the point had one at that time before" in text
    assert "clock change" not in told(capsys, "site.toml", "noon.csv")
