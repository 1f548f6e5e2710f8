"""How long is it from a critical reading's publication until its message is handed to the notifier?

By hand: `python tests/benchmarks/critical_latency.py`. A real broker, 100 readings a second of 200 points; every half
second another point goes beyond its limit. What a rule waits for on purpose (`settle`, here 1 s, and its on-delay, here
none) is taken off. The goal is a 99th percentile of 100 ms.
"""

from __future__ import annotations

import contextlib
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from daemon.store import StoreError, StoreReader  # noqa: E402 - the project's own place is found first
from demo_replay.broker import Broker  # noqa: E402 - the same
from tests.waiting import until  # noqa: E402 - the same

POINTS, RATE = 200, 100
SETTLE = 1.0
GOAL = 0.100
DAEMON = """
import sys, time
from pathlib import Path
import daemon.service as service
from adapters.notify import Outcome, Result

class Notifier:
    def send(self, way, title, body, message_id, priority, purpose="first"):
        print(time.time(), message_id, flush=True)
        return Outcome(Result.DELIVERED)

service.AppriseNotifier = Notifier
service.set_up_logging()
service.Service(Path(sys.argv[1])).run()
"""


def site(port: int) -> str:
    """So many points with a critical rule each."""
    points = "".join(
        f'[[point]]\nid = "flow.n{n}"\nquantity = "flow"\nexpect_every = "2 s"\nstale_after = "1 h"\nquality = "none"\n'
        f'[[rule]]\nid = "stopped.n{n}"\nkind = "band"\npoint = "flow.n{n}"\nlow = 2\npriority = "critical"\n'
        for n in range(POINTS)
    )
    return (
        f'[site]\nname = "Bench"\n{points}[[person]]\nid = "keeper"\nways = ["phone"]\n'
        "[messages]\nflood_begins_over = 100000\nsingly = 1000\n"
        f'[adapter.mqtt]\nhost = "127.0.0.1"\nport = {port}\ntopics = [{{ topic = "b/+", point = "flow.{{1}}" }}]\n'
    )


class Feed:
    """Publishes the readings; `published` holds when each point was sent beyond its limit."""

    def __init__(self, port: int) -> None:
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        self.published: dict[int, float] = {}

    def wait_until_heard(self, store: Path) -> None:
        """Send good readings of one point until the daemon has stored one."""

        def heard() -> bool:
            self.client.publish("b/n0", "30", qos=1)
            with contextlib.suppress(StoreError), StoreReader(store) as reader:
                return reader.latest("flow.n0") is not None
            return False

        until(heard)

    def run(self, seconds: float, trials: list[int]) -> None:
        """For so long; a point of `trials` goes beyond its limit every half second, at no fixed phase."""
        rng = random.Random(4)
        begun = time.monotonic()
        due = begun + 2.0
        for number in range(round(seconds * RATE)):
            time.sleep(max(0.0, begun + number / RATE - time.monotonic()))
            if trials and time.monotonic() >= due:
                point = trials.pop()
                due += 0.5 + rng.uniform(-0.2, 0.2)
                self.published[point] = time.time()
            else:
                point = number % POINTS
            self.client.publish(f"b/n{point}", "0" if point in self.published else "30", qos=1)


def percentile(values: list[float], share: float) -> float:
    """The smallest value that at least `share` of all do not pass."""
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


def main() -> int:
    """Print the figures; 1 where the goal is missed."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Broker(folder / "broker", "mosquitto") as broker:
            (folder / "site.toml").write_text(site(broker.port))
            environment = os.environ | {"PYTHONPATH": str(ROOT), "TIDEBED_WAY_PHONE": "json://127.0.0.1:1/x"}
            with subprocess.Popen(
                [sys.executable, "-c", DAEMON, str(folder / "site.toml")],
                env=environment,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
            ) as daemon:
                handed: dict[int, float] = {}

                def listen() -> None:
                    assert daemon.stdout is not None
                    for line in daemon.stdout:
                        moment, _, message_id = line.strip().partition(" ")
                        handed.setdefault(int(message_id.partition("/")[0].removeprefix("stopped.n")), float(moment))

                listener = threading.Thread(target=listen, daemon=True)
                listener.start()
                feed = Feed(broker.port)
                feed.wait_until_heard(folder / "tidebed.sqlite")
                trials = list(range(POINTS))
                feed.run(len(trials) * 0.5 + 4.0, trials)
                with contextlib.suppress(AssertionError):  # what is missing by then is counted
                    until(lambda: len(handed) == len(feed.published))
                daemon.terminate()
                daemon.wait(30)
                listener.join(10)
    late = [handed[point] - sent - SETTLE for point, sent in feed.published.items() if point in handed]
    missing = len(feed.published) - len(late)
    print(f"{len(late)} critical messages beyond settle ({SETTLE:g} s), {RATE} readings/s; {missing} missing")
    for share in (0.5, 0.9, 0.99):
        print(f"  p{share * 100:.0f}  {percentile(late, share) * 1000:.0f} ms")
    print(f"  most {max(late) * 1000:.0f} ms")
    return 0 if percentile(late, 0.99) <= GOAL and not missing else 1


if __name__ == "__main__":
    sys.exit(main())
