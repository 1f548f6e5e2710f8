"""Are the daemon's own alarms the same live and on replay of what it stored?"""

from __future__ import annotations

from pathlib import Path

from adapters.intake import Arrived, Delivery
from daemon.loop import Loop
from daemon.queue import DeliveryQueue
from daemon.selfwatch.measures import Listening, Measures
from daemon.selfwatch.plan import as_kept, watched
from daemon.site.load import site_from_text
from daemon.store import Store, StoreReader
from demo_replay.replay import replay
from rules.events import Event

START = 1_780_000_000
SITE = """
[site]
name = "Alder Lane"

[[point]]
id = "house.air"
quantity = "air_temperature"
expect_every = "10 s"

[[rule]]
id = "house.silent"
kind = "silent"
point = "house.air"

[store]
path = "store.sqlite"

[adapter.mqtt]
host = "127.0.0.1"
topics = [{ topic = "a", point = "house.air" }]
"""


class Board:
    """A board on which everything can go wrong by hand."""

    running = 0.0
    step = 0.0
    free = 0.5
    critical_since: int | None = None

    def wall(self) -> float:
        """Seconds."""
        return START + self.running + self.step

    def now(self) -> int:
        """As Clock; it never goes back here."""
        return round(self.wall() * 1000)

    def monotonic(self) -> float:
        """Seconds."""
        return self.running


def test_what_the_daemon_says_of_itself_is_replayed_to_the_bit(tmp_path: Path) -> None:
    """Readings stop, the clock jumps, the disk fills, messages wait, the store is slow: live equals replay."""
    file = tmp_path / "site.toml"
    file.write_text(SITE)
    site = site_from_text(file.read_text(), file)
    plan, board, queue = watched(site), Board(), DeliveryQueue(monotonic=lambda: board.running)
    listening = Listening(queue, board.monotonic)
    events: list[Event] = []
    with Store(site.store_path, plan.points) as store:
        loop = Loop(
            plan,
            store,
            queue,
            board,
            [],
            listener=lambda new: events.extend(new),
            monotonic=board.monotonic,
            wait=lambda seconds: None,
        )
        measures = Measures(
            site.store_path,
            board,
            listening,
            loop.tally,
            lambda: board.critical_since,
            wall=board.wall,
            running=board.monotonic,
            free=lambda path: board.free,
            starts=[START * 1000] * 4,
            board=lambda: 85.0,
        )
        for second in range(3600):
            board.running += 1
            if second == 900:
                board.step = 3.0
            board.free = 0.04 if 1200 <= second < 1500 else 0.5
            board.critical_since = board.now() - 400_000 if 1800 <= second < 2000 else None
            if second == 2400:
                loop.tally.slowest_commit = 7.0
            if not 2700 <= second < 3300 and second % 10 == 0:
                listening.put(Delivery("mqtt", [Arrived("house.air", None, 700, 2)]))
            measures.look()
            loop.tally.slowest_commit = 0.0
            if second % 60 == 59:
                queue.put(measures.readings())
            loop.turn(board.running)
        loop.stop()
        loop.run()
    raised = {
        event.body["rule"] for event in events if event.type == "alarm" and event.body["state"] == "unacknowledged"
    }
    assert raised >= {"tidebed.no_readings", "tidebed.clock", "tidebed.disk", "tidebed.unsent", "tidebed.store"}
    assert raised >= {"tidebed.restarted", "tidebed.board_hot"}
    kept = as_kept(site).plan
    assert kept == plan
    with StoreReader(site.store_path, kept.points) as reader:
        saved = reader.checkpoint()
        assert saved is not None
        replayed = replay(kept, reader, acts=reader.acts(), span=(saved["start"], saved["frontier"]))
    assert [event.line() for event in replayed.events] == [event.line() for event in events]
