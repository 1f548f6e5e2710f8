"""Does a daemon that is killed at any moment lose nothing that it had acknowledged?"""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

from daemon.store import Store
from daemon.store.connection import Connection
from rules.durations import HOUR

from .killed_writer import POINT, START

ROOT = Path(__file__).parents[3]


def test_a_kill_loses_nothing_acknowledged_and_leaves_no_half_commit(path: Path) -> None:
    """Killed (SIGKILL) at six random moments of committing and sealing: every commit is there whole or not at all."""
    rng = random.Random(20)
    committed = 0
    for _ in range(6):
        writer = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("killed_writer.py")), str(path), str(committed)],
            stdout=subprocess.PIPE,
            cwd=ROOT,
            env={"PYTHONPATH": str(ROOT)},
            text=True,
        )
        assert writer.stdout is not None
        acknowledged = committed - 1
        for _ in range(rng.randint(1, 60)):
            acknowledged = int(writer.stdout.readline())
        writer.kill()
        # What it said between the last line read and its end was acknowledged as well.
        rest = writer.stdout.read().split("\n")
        acknowledged = max([acknowledged, *(int(line) for line in rest[:-1])])
        writer.stdout.close()
        writer.wait()
        with Store(path, [POINT]) as store:
            numbers = [event.body["number"] for event in store.events()]
            committed = len(numbers)
            assert numbers == list(range(committed))
            assert committed > acknowledged
            assert store.checkpoint() == {"number": committed - 1}
            assert len(store.acts()) == committed
            got = [
                pair
                for part in store.read(POINT.id, 0, 2**62)
                for pair in zip(part.times.tolist(), part.values.tolist(), strict=True)
            ]
            assert got == [(START + n * HOUR + k, n) for n in range(committed) for k in range(20)]
    connection = Connection(path, read_only=True)
    assert connection.value("SELECT count(*) FROM block") > 1, "days were sealed on the way"
    connection.close()
