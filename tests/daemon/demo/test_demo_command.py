"""Does `tidebed demo` do all of it, and leave nothing running?"""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from adapters.mqtt.settings import MqttSettings
from adapters.recordings import read_recordings, write_csv
from daemon.commands import demo
from daemon.main import DONE, FOUND_WRONG, NOT_DONE, main
from daemon.site.load import load_site
from demo_replay import days
from demo_replay import replay as replaying
from demo_replay.label_file import read_labels
from demo_replay.replay import Replayed
from rules.block import Source
from rules.durations import MINUTE
from rules.plan import Plan
from tests.needs import program

PNG = b"\x89PNG\r\n\x1a\n"


@pytest.fixture(scope="module")
def short_night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The recorded night from ten minutes before the trip of the pump to twenty after it, and its first label."""
    program("mosquitto")
    folder = tmp_path_factory.mktemp("short")
    plan = load_site(days.SITE).plan
    points = {point.id: point for point in plan.points}
    whole = read_recordings([days.path("pump_trip")], points, plan.timezone)
    trip = read_labels(days.labels_path("pump_trip"), plan.timezone)[0]
    begin, end = trip.start_ms - 10 * MINUTE, trip.start_ms + 20 * MINUTE
    recording, labels = folder / "pump_trip.csv.gz", folder / "pump_trip.labels.csv"
    blocks = (block for point in whole.points() for block in whole.read(point, begin - 1, end))
    write_csv(recording, blocks, whole.series)
    head, first = days.labels_path("pump_trip").read_text(encoding="utf-8").splitlines()[:2]
    labels.write_text(f"{head}\n{first}\n", encoding="utf-8")
    return recording, labels


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, short_night: tuple[Path, Path]) -> Path:
    """A folder to stand in, where the day of the demonstration is the short night."""
    recording, labels = short_night
    monkeypatch.setattr(days, "path", lambda kind: recording)
    monkeypatch.setattr(days, "labels_path", lambda kind: labels)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_it_plays_tells_draws_and_sums_up(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Plain lines where there is no terminal: the alarm, the phone, the summary; all files are there."""
    assert main(["demo", "--speed", "2000"]) == DONE
    told = capsys.readouterr().out
    assert "Fennelholm glasshouse, an invented place: a recorded day (pump_trip) in 1 s." in told
    assert "02:13 ◆ critical alarm  loop.stopped: " in told
    assert "│ ◆ Water has stopped" in told
    assert "02:13  ◆ critical alarm 72 s after it; on the phone" in told
    assert "A replay of the day says the same" in told
    assert str(here) not in told
    made = here / "tidebed-demo"
    assert (made / "day.png").read_bytes().startswith(PNG)
    assert load_site(made / "site.toml").store_path == made / "tidebed.sqlite"
    assert "stopped; " in (made / "daemon.log").read_text(encoding="utf-8")


def test_its_json_lines_end_in_the_summary(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing but JSON, the daemon's events among it."""
    assert main(["demo", "--speed", "2000", "--folder", "made/here", "--json"]) == DONE
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert lines[-1]["type"] == "summary"
    assert lines[-1]["replay_is_the_same"] is True
    assert lines[-1]["folder"] == "made/here"
    assert lines[-1]["events"] == sum(line["type"] not in ("delivered", "summary") for line in lines)
    assert {"alarm", "notice", "delivered"} <= {line["type"] for line in lines}


def test_it_can_be_run_again_in_its_folder_and_replayed(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The second run starts anew; the replay that it suggests says what its log says."""
    assert main(["demo", "--speed", "2000", "--json"]) == DONE
    first = _of_the_daemon(capsys.readouterr().out)
    assert main(["demo", "--speed", "3000", "--json"]) == DONE
    assert _of_the_daemon(capsys.readouterr().out) == first
    assert main(["replay", "tidebed-demo/site.toml", "tidebed-demo/pump_trip.csv.gz", "--json"]) == DONE
    assert capsys.readouterr().out.splitlines() == first
    assert main(["log", "tidebed-demo/site.toml", "--json"]) == DONE
    assert capsys.readouterr().out.splitlines() == first


def _of_the_daemon(said: str) -> list[str]:
    return [line for line in said.splitlines() if json.loads(line)["type"] not in ("delivered", "summary")]


def test_a_replay_that_says_otherwise_is_found_wrong(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit code 1, and what differs."""
    honest = replaying.replay

    def forgetful(plan: Plan, source: Source) -> Replayed:
        found = honest(plan, source)
        return dataclasses.replace(found, events=found.events[1:])

    monkeypatch.setattr(replaying, "replay", forgetful)
    assert main(["demo", "--speed", "2000"]) == FOUND_WRONG
    assert "A replay of the day says otherwise: " in capsys.readouterr().out


def test_a_folder_of_others_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit code 2; nothing in it changes."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "greenhouse").mkdir()
    (tmp_path / "greenhouse" / "plan.txt").write_text("mine")
    assert main(["demo", "--folder", "greenhouse"]) == NOT_DONE
    assert capsys.readouterr().err == (
        "tidebed demo: greenhouse holds other files, and nothing is overwritten; name a new folder with --folder\n"
    )
    assert [path.name for path in (tmp_path / "greenhouse").iterdir()] == ["plan.txt"]


@pytest.mark.parametrize("speed", ["0", "0.99", "5001", "nan", "fast", "-600"])
def test_a_speed_out_of_range_is_refused(speed: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The message shows how to write one."""
    with pytest.raises(SystemExit) as ended:
        main(["demo", f"--speed={speed}"])
    assert ended.value.code == NOT_DONE
    assert f"'{speed}': write a number from 1 to 5000, as in 600" in capsys.readouterr().err


@pytest.mark.parametrize(("text", "speed"), [("1", 1.0), ("5000", 5000.0), ("600x", 600.0), ("0.5e3", 500.0)])
def test_a_speed_is_read(text: str, speed: float) -> None:
    """Both ends of the range, and with the sign that one would say."""
    parser = argparse.ArgumentParser()
    demo.add_arguments(parser)
    assert parser.parse_args(["--speed", text]).speed == speed


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_ended_by_a_signal_it_leaves_nothing_running(number: signal.Signals, tmp_path: Path) -> None:
    """In the middle of the day: it ends with code 2, and the broker and the daemon with it."""
    program("mosquitto")
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(Path.cwd()), os.environ.get("PYTHONPATH", "")])}
    command = [sys.executable, "-m", "daemon.main", "demo", "--speed", "1", "--folder", str(tmp_path / "demo")]
    demo_process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=environment)
    log, site = tmp_path / "demo" / "daemon.log", tmp_path / "demo" / "site.toml"
    until = time.monotonic() + 60
    while not (log.exists() and "watching" in log.read_text()):
        assert demo_process.poll() is None
        assert time.monotonic() < until
        time.sleep(0.05)
    settings = load_site(site).adapters["mqtt"].settings
    assert isinstance(settings, MqttSettings)
    assert settings.port is not None
    demo_process.send_signal(number)
    said, _ = demo_process.communicate(timeout=60)
    assert demo_process.returncode == NOT_DONE
    assert b"stopped from the keyboard" in said
    assert b"Traceback" not in said
    assert "stopped; " in log.read_text()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", settings.port), timeout=5)
