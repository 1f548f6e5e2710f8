"""What does watching cost, day after day? Memory, processor and the size of the store on the demo site.

Run by hand: `python -m tests.benchmarks.fortnight [DAYS]` (2, about a minute each; the figures of later days are
those of the second). A simulated day is fed again and again to the daemon's own loop, store and sealing, with a turn
each 10 s of the played time as probes send; broker and messages are left out.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import threading
import time
from bisect import bisect_right
from pathlib import Path

from adapters.intake import Arrived, Delivery
from daemon.loop import Loop
from daemon.queue import DeliveryQueue
from daemon.site.load import load_site
from daemon.store import Store
from daemon.store.connection import Connection
from demo_replay import days
from demo_replay.simulate import simulate
from rules.durations import DAY, MINUTE
from rules.flags import Flag

TURN = 10_000
"""ms between two turns of the loop."""


class Board:
    """The board's clock, which goes as the benchmark says."""

    def __init__(self, now: int) -> None:
        self.time = now

    def now(self) -> int:
        """ms UTC."""
        return self.time

    def monotonic(self) -> float:
        """Seconds."""
        return self.time / 1000


def resident() -> float:
    """MB of this process in memory now."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() / 1e6


def sizes(store: Path) -> tuple[int, int, int]:
    """(bytes of sealed days, sealed readings, readings that are rows)."""
    connection = Connection(store, read_only=True)
    sealed = connection.row("SELECT COALESCE(SUM(LENGTH(columns)), 0), COALESCE(SUM(readings), 0) FROM block")
    rows = connection.value("SELECT COUNT(*) FROM reading")
    connection.close()
    return int(sealed[0]), int(sealed[1]), int(rows)


def main() -> None:
    """Print a line a day."""
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 2
    day = simulate("ordinary")
    readings = sorted(
        (t, point, counts)
        for point, (times, values) in day.columns.items()
        for t, counts in zip(times.tolist(), values.tolist(), strict=True)
    )
    times = [t for t, _, _ in readings]
    site = load_site(days.SITE)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tidebed.sqlite"
        board = Board(day.begin_ms)
        queue = DeliveryQueue(monotonic=board.monotonic)
        store = Store(path, site.plan.points)
        loop = Loop(site.plan, store, queue, board, (), monotonic=board.monotonic, wait=lambda seconds: None)
        print("day  readings    CPU ms a reading  a turn   memory MB  threads  handles  store MB  sealed B a reading")
        for number in range(wanted):
            later, begun = number * DAY, time.process_time()
            place = turns = 0
            # The first minutes of the next day seal nothing; the store is looked at as it is during a day.
            for now in range(day.begin_ms + TURN, day.begin_ms + DAY + 1, TURN):
                upto = bisect_right(times, now, lo=place)
                arrived = [Arrived(p, t + later, c, Flag.NOT_EVALUATED) for t, p, c in readings[place:upto]]
                place, board.time = upto, now + later + 500
                queue.put(Delivery("benchmark", arrived))
                loop.turn(board.monotonic())
                turns += 1
            spent = 1000 * (time.process_time() - begun)
            sealed, in_blocks, _ = sizes(path)
            print(
                f"{number + 1:3}  {place:8}  {spent / place:16.3f}  {spent / turns:6.2f}  {resident():10.1f}"
                f"  {threading.active_count():7}  {len(os.listdir('/proc/self/fd')):7}"
                f"  {path.stat().st_size / 1e6:8.2f}  {sealed / max(1, in_blocks):18.2f}"
            )
        begun = time.process_time()
        board.time += 3 * 60 * MINUTE
        store.backup(Path(folder) / "backup.sqlite")
        print(f"a backup takes {time.process_time() - begun:.2f} s of the processor")
        loop.stop()
        loop.run()
        store.close()


if __name__ == "__main__":
    main()
