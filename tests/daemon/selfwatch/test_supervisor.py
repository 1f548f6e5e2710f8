"""Does the service manager hear that the daemon is up, and nothing any more once the loop hangs?"""

from __future__ import annotations

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.selfwatch.supervisor import Supervisor


class Manager:
    """A service manager's end of the notification socket, and a monotonic clock moved by hand."""

    def __init__(self, address: str) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(address)
        self.socket.setblocking(False)
        self.seconds = 100.0

    def heard(self) -> list[str]:
        """Every datagram since the last time."""
        found: list[str] = []
        while True:
            try:
                found.append(self.socket.recv(4096).decode())
            except BlockingIOError:
                return found

    def monotonic(self) -> float:
        """Seconds."""
        return self.seconds


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    """It listens at notify.sock."""
    made = Manager(str(tmp_path / "notify.sock"))
    yield made
    made.socket.close()


def environ(tmp_path: Path, **more: str) -> dict[str, str]:
    """What the manager hands over."""
    return {"NOTIFY_SOCKET": str(tmp_path / "notify.sock"), "WATCHDOG_USEC": "60000000", **more}


def test_it_says_when_it_is_up_and_when_it_ends(tmp_path: Path, manager: Manager) -> None:
    """The states of sd_notify(3)."""
    supervisor = Supervisor(environ(tmp_path))
    supervisor.starting("waiting for the clock", 30)
    supervisor.ready("watching 3 points")
    supervisor.stopping()
    assert manager.heard() == [
        "STATUS=waiting for the clock\nEXTEND_TIMEOUT_USEC=30000000",
        "READY=1\nSTATUS=watching 3 points",
        "STOPPING=1",
    ]


def test_signs_of_life_come_three_times_within_the_time(tmp_path: Path, manager: Manager) -> None:
    """Looked at twice a second for two minutes with a time of one: six, and not two hundred."""
    supervisor = Supervisor(environ(tmp_path), manager.monotonic)
    for _ in range(240):
        supervisor.tick(0.1)
        manager.seconds += 0.5
    assert manager.heard() == ["WATCHDOG=1"] * 6


def test_a_loop_that_hangs_gives_no_sign_of_life(tmp_path: Path, manager: Manager) -> None:
    """From half of the time on, and again when it turns."""
    supervisor = Supervisor(environ(tmp_path), manager.monotonic)
    supervisor.tick(29.9)
    assert manager.heard() == ["WATCHDOG=1"]
    manager.seconds += 60
    supervisor.tick(30.0)
    assert manager.heard() == []
    supervisor.tick(0.2)
    assert manager.heard() == ["WATCHDOG=1"]


@pytest.mark.parametrize("more", [{"WATCHDOG_PID": "1"}, {"WATCHDOG_USEC": ""}, {"WATCHDOG_USEC": "soon"}])
def test_a_time_that_is_not_ours_is_not_kept(tmp_path: Path, manager: Manager, more: dict[str, str]) -> None:
    """Meant for another process, or none: sd_watchdog_enabled(3)."""
    supervisor = Supervisor(environ(tmp_path, **more), manager.monotonic, pid=77)
    supervisor.tick(0.0)
    assert (supervisor.within, manager.heard()) == (None, [])


def test_a_time_meant_for_this_process_is_kept(tmp_path: Path, manager: Manager) -> None:
    """By its number."""
    assert Supervisor(environ(tmp_path, WATCHDOG_PID="77"), pid=77).within == 60.0


def test_without_a_manager_nothing_is_sent(tmp_path: Path) -> None:
    """As when started by hand."""
    supervisor = Supervisor({"WATCHDOG_USEC": "60000000"})
    supervisor.ready("x")
    supervisor.tick(0.0)
    assert supervisor.within is None


def test_an_abstract_socket_is_reached() -> None:
    """Its name begins with @ in the environment and with a zero byte on the wire."""
    manager = Manager("\0tidebed-test-of-the-supervisor")
    Supervisor({"NOTIFY_SOCKET": "@tidebed-test-of-the-supervisor"}).stopping()
    assert manager.heard() == ["STOPPING=1"]
    manager.socket.close()


def test_a_manager_that_is_gone_stops_nothing(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """It is said once."""
    supervisor = Supervisor({"NOTIFY_SOCKET": str(tmp_path / "gone")})
    supervisor.ready("x")
    supervisor.stopping()
    assert len(caplog.records) == 1
