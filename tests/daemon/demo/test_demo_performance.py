"""Does the real daemon, fed over a real broker, say what a replay says, and does its alert reach the phone?"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from adapters.recordings import Recording, read_recordings
from daemon.demo import performance as performing
from daemon.demo.folder import DemoFolder, demo_folder, write_site
from daemon.demo.performance import DemoFailed, Performance, perform
from daemon.demo.process import DaemonProcess, Line, Progress
from daemon.demo.scene import Delivered, Scene
from daemon.site.load import load_site
from daemon.store import StoreReader
from demo_replay.broker import KINDS, Broker
from demo_replay.pace import Pace
from demo_replay.player import PlayerStopped
from demo_replay.replay import replay
from rules.durations import MINUTE
from rules.events import show_time
from rules.plan import Plan
from tests.needs import program

TRIP = 1_775_178_720_000
SPAN = (TRIP - 10 * MINUTE, TRIP + 40 * MINUTE)
"""From 02:02 to 02:52 in Ireland."""
FAST = Pace(2000)


class Watched:
    """A view that keeps what it was shown."""

    def __init__(self) -> None:
        self.lines: list[Line] = []
        self.delivered_messages: list[Delivered] = []
        self.scenes: list[Scene] = []

    def __enter__(self) -> Watched:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing to close."""

    def say(self, text: str) -> None:
        """Not kept."""

    def event(self, line: Line) -> None:
        """Kept."""
        self.lines.append(line)

    def delivered(self, message: Delivered) -> None:
        """Kept."""
        self.delivered_messages.append(message)

    def show(self, scene: Scene) -> None:
        """Kept."""
        self.scenes.append(scene)


def _kind(kind: str) -> str:
    if kind == "mosquitto":
        program("mosquitto")
    return kind


def _played(
    folder: DemoFolder, broker: Broker, view: Watched, pace: Pace = FAST
) -> tuple[Plan, Recording, Performance]:
    write_site(folder, broker.port)
    plan = load_site(folder.site).plan
    recording = read_recordings([folder.recording], {point.id: point for point in plan.points}, plan.timezone)
    return plan, recording, perform(folder, plan, recording, SPAN, pace, broker, view)


def _logged(folder: DemoFolder, plan: Plan) -> list[dict[str, Any]]:
    with StoreReader(folder.store, plan.points) as store:
        return [event.line() for event in store.events()]


@pytest.mark.parametrize("kind", KINDS)
def test_live_is_the_same_as_a_replay_and_the_alert_reaches_the_phone(kind: str, tmp_path: Path) -> None:
    """The trip of the pump, played: the daemon's log equals a replay event by event; keeper and neighbour are told."""
    view = Watched()
    with demo_folder(tmp_path, "pump_trip") as folder, Broker(folder.broker, _kind(kind)) as broker:
        plan, recording, done = _played(folder, broker, view)
    logged = _logged(folder, plan)
    expected = replay(plan, recording, warm_from=SPAN[0], to=SPAN[1])
    assert [line for line in logged if line["type"] == "alarm"]
    assert logged == [event.line() for event in expected.events]
    assert done.lines == logged == view.lines
    assert done.readings == expected.readings
    assert done.delivered == view.delivered_messages
    # Nobody's message waits for another's: at this speed the later one may overtake.
    told = [message for message in done.delivered if message.purpose != "repeat"]
    first, second = sorted(told, key=lambda message: message.t)
    assert (first.owner, first.purpose, first.priority) == ("Keeper", "first", "critical")
    assert (second.owner, second.purpose) == ("Neighbour with a key", "next")
    notice = next(line for line in logged if line["type"] == "notice")
    assert (first.title, first.body) == (notice["title"], notice["text"])
    assert show_time(first.t) == notice["t"]
    assert second.t - first.t == 10 * MINUTE
    assert first.waited > 0


def test_the_view_sees_the_day_go_by(tmp_path: Path) -> None:
    """Time only goes forward, the daemon's after the player's, and the readings shown are the newest."""
    view = Watched()
    with demo_folder(tmp_path, "pump_trip") as folder, Broker(folder.broker, _kind("mosquitto")) as broker:
        _, recording, _ = _played(folder, broker, view)
    clocks = [scene.now for scene in view.scenes]
    assert clocks == sorted(clocks)
    assert all(SPAN[0] <= scene.now <= SPAN[1] for scene in view.scenes)
    assert [scene.judged for scene in view.scenes] == sorted(scene.judged for scene in view.scenes)
    last = view.scenes[-1]
    assert (last.share, last.seconds_left) == (1.0, 0.0)
    for point, reading in last.latest.items():
        newest = list(recording.read(point, SPAN[0] - 1, SPAN[1]))[-1]
        assert (reading.time, reading.counts) == (int(newest.times[-1]), int(newest.values[-1]))


def test_no_phone_of_somebody_else_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Addresses, tokens and files that the environment holds for a real daemon are kept from the demonstration's."""
    monkeypatch.setenv("TIDEBED_WAY_KEEPER_PHONE", "json://127.0.0.1:1/real")
    monkeypatch.setenv("TIDEBED_SECRETS", str(tmp_path / "real.toml"))
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))
    monkeypatch.setenv("JOURNAL_STREAM", "1:1")
    monkeypatch.setenv("LANG", "C.UTF-8")
    heard: list[Line] = []
    told = (
        "import json, os; print(json.dumps({key: value for key, value in os.environ.items()"
        " if key.startswith(('TIDEBED', 'CRED', 'JOURNAL', 'LANG'))}))"
    )
    process = DaemonProcess(tmp_path / "site.toml", tmp_path / "log", {"phone": "json://127.0.0.1:2/p"}, heard.append)
    _run_instead(process, ["-c", told])
    assert heard == [{"TIDEBED_WAY_PHONE": "json://127.0.0.1:2/p", "LANG": "C.UTF-8"}]


def _run_instead(process: DaemonProcess, arguments: Sequence[str]) -> None:
    """Start another program in the daemon's place, and wait for its end."""
    process._command = [sys.executable, *arguments]
    process.start()
    assert process._process is not None
    process._process.wait(30)
    process.stop()


def test_all_that_the_daemon_said_is_heard_when_it_has_stopped(tmp_path: Path) -> None:
    """Lines that are still on their way when it is stopped are not lost; stopping twice does no harm."""
    heard: list[Line] = []

    def slowly(line: Line) -> None:
        time.sleep(0.002)
        heard.append(line)

    process = DaemonProcess(tmp_path / "site.toml", tmp_path / "log", {}, slowly)
    _run_instead(process, ["-c", "for n in range(300): print('{\"n\": %d}' % n)"])
    process.stop()
    assert [line["n"] for line in heard] == list(range(300))


def test_a_daemon_that_ends_by_itself_is_told_with_its_last_words(tmp_path: Path) -> None:
    """A site file that it refuses: the demonstration says what the daemon said."""
    with demo_folder(tmp_path, "pump_trip") as folder, Broker(folder.broker, _kind("mosquitto")) as broker:
        write_site(folder, broker.port)
        plan = load_site(folder.site).plan
        recording = read_recordings([folder.recording], {point.id: point for point in plan.points}, plan.timezone)
        folder.site.write_text("[site]\nname = 5\n")
        with pytest.raises(DemoFailed, match=r"the daemon has ended by itself; it says: .*site"):
            perform(folder, plan, recording, SPAN, FAST, broker, Watched())


def test_a_daemon_that_hears_another_broker_is_found_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody answers the played clock: it ends, and nothing is left running."""
    monkeypatch.setattr(performing, "_KNOCK_WITHIN", 3.0)
    with (
        demo_folder(tmp_path, "pump_trip") as folder,
        Broker(tmp_path / "one", _kind("mosquitto")) as broker,
        Broker(tmp_path / "other", "mosquitto") as other,
    ):
        write_site(folder, other.port)
        plan = load_site(folder.site).plan
        recording = read_recordings([folder.recording], {point.id: point for point in plan.points}, plan.timezone)
        with pytest.raises(PlayerStopped, match="nobody hears the played clock"):
            perform(folder, plan, recording, SPAN, FAST, broker, Watched())


def test_progress_is_none_before_there_is_a_store(tmp_path: Path) -> None:
    """A store that is not there yet, or is being made, tells nothing; nothing is raised."""
    with Progress(tmp_path / "tidebed.sqlite") as progress:
        assert (progress.judged(), progress.unsent()) == (None, 0)
        (tmp_path / "tidebed.sqlite").touch()
        assert progress.judged() is None
