"""What does the person get when the daemon dies while a message is on its way?"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from adapters.notify import AppriseNotifier
from daemon.outbox import REPEAT, Outbox
from daemon.store import Sending, Store, StoreReader
from tests.adapters.receiver import receiving

ROOT = Path(__file__).parents[2]
SENDER = """
import sys, threading
from pathlib import Path
from adapters.notify import AppriseNotifier
from adapters.secrets import SecretUrl
from daemon.clock import SystemClock
from daemon.outbox import Outbox
outbox = Outbox(Path(sys.argv[1]), AppriseNotifier(), {"phone": SecretUrl("phone", sys.argv[2])}, SystemClock(), print)
outbox.start()
threading.Event().wait()
"""


class Clock:
    """The time of these tests."""

    def now(self) -> int:
        """As Clock."""
        return 1_775_174_400_000


def test_a_message_on_its_way_when_the_daemon_was_killed_comes_again_with_the_same_id(tmp_path: Path) -> None:
    """The second says that it may be a repeat; the one behind it comes once; both by a real receiver."""
    path = tmp_path / "store.sqlite"
    with Store(path) as store:
        store.commit(
            owed=[Sending(f"m{n}", "anna", "phone", "Water stopped", f"text {n}", "high", "first", 1) for n in (1, 2)]
        )
        with receiving() as receiver:
            receiver.silent = True
            command = [sys.executable, "-c", SENDER, str(path), receiver.address().reveal()]
            with subprocess.Popen(command, cwd=ROOT, env={"PYTHONPATH": str(ROOT)}) as sender:
                arrived = receiver.arrivals.acquire(timeout=20)
                sender.kill()
            assert arrived
            receiver.silent = False
            outbox = Outbox(path, AppriseNotifier(), {"phone": receiver.address()}, Clock(), lambda *_: None)
            outbox.start()
            assert receiver.arrivals.acquire(timeout=20)
            assert receiver.arrivals.acquire(timeout=20)
            outbox.stop()
        messages = [json.loads(body) for _, body in receiver.got]
        assert [(m["message_id"], m["message"]) for m in messages] == [
            ("m1", "text 1"),
            ("m1", f"text 1\n{REPEAT}"),
            ("m2", "text 2"),
        ]
        with StoreReader(path) as reader:
            assert reader.unsent() == []
