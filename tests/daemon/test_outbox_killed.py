"""What does the person get when the daemon dies while a message is on its way?"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from adapters.notify import AppriseNotifier
from daemon.outbox import Outbox
from daemon.store import Sending, Store, StoreReader
from rules.texts import ENGLISH
from tests.adapters.receiver import Receiver, receiving

ROOT = Path(__file__).parents[2]
SENDER = """
import sys, threading
from pathlib import Path
import daemon.outbox
from adapters.notify import AppriseNotifier
from adapters.secrets import SecretUrl
from daemon.clock import SystemClock

def stop_here(*_, **__):
    print("here", flush=True)
    threading.Event().wait()

class Notifier(AppriseNotifier):
    def send(self, *args, **kwargs):
        if sys.argv[3] == "before it is handed over":
            stop_here()
        return super().send(*args, **kwargs)

if sys.argv[3] == "after it was answered":
    daemon.outbox.settle = stop_here
ways = {"phone": SecretUrl("phone", sys.argv[2])}
daemon.outbox.Outbox(Path(sys.argv[1]), Notifier(), ways, SystemClock(), print).start()
threading.Event().wait()
"""


class Clock:
    """The time of these tests."""

    def now(self) -> int:
        """As Clock."""
        return 1_775_174_400_000


def owe_two(path: Path) -> None:
    """Two messages for anna's phone."""
    with Store(path) as store:
        store.commit(
            owed=[Sending(f"m{n}", "anna", "phone", "Water stopped", f"text {n}", "high", "first", 1) for n in (1, 2)]
        )


def killed(path: Path, receiver: Receiver, where: str) -> None:
    """A daemon sends until it gets there, and is killed."""
    command = [sys.executable, "-c", SENDER, str(path), receiver.address().reveal(), where]
    environment = {"PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True) as sender:
        assert sender.stdout is not None
        if where == "while the service has it":
            there = receiver.arrivals.acquire(timeout=20)
        else:
            there = sender.stdout.readline() == "here\n"
        sender.kill()
    assert there


def go_on(path: Path, receiver: Receiver, count: int) -> None:
    """The next daemon sends what is owed, so many messages."""
    outbox = Outbox(path, AppriseNotifier(), {"phone": receiver.address()}, Clock(), lambda *_: None)
    outbox.start()
    for _ in range(count):
        assert receiver.arrivals.acquire(timeout=20)
    outbox.stop()


@pytest.mark.parametrize(
    ("where", "arrived"),
    [("before it is handed over", 0), ("while the service has it", 1), ("after it was answered", 1)],
)
def test_a_message_on_its_way_when_the_daemon_was_killed_comes_again_with_the_same_id(
    tmp_path: Path, where: str, arrived: int
) -> None:
    """It says that it may be a repeat, since nobody knows; the one behind it comes once; both by a real receiver."""
    path = tmp_path / "store.sqlite"
    owe_two(path)
    with receiving() as receiver:
        receiver.silent = where == "while the service has it"
        killed(path, receiver, where)
        receiver.silent = False
        if where == "after it was answered":
            assert receiver.arrivals.acquire(timeout=20)
        assert len(receiver.got) == arrived
        go_on(path, receiver, 2)
    messages = [json.loads(body) for _, body in receiver.got]
    assert [(m["message_id"], m["message"]) for m in messages] == [
        *([("m1", "text 1")] * arrived),
        ("m1", f"text 1\n{ENGLISH['repeated']}"),
        ("m2", "text 2"),
    ]
    with StoreReader(path) as reader:
        assert reader.unsent() == []


def test_a_message_whose_answer_was_recorded_does_not_come_again(tmp_path: Path) -> None:
    """However the daemon dies afterwards."""
    path = tmp_path / "store.sqlite"
    owe_two(path)
    with receiving() as receiver:
        go_on(path, receiver, 2)
        go_on(path, receiver, 0)
        assert len(receiver.got) == 2
