"""Does a replay of the daemon's own store say what the daemon said when it was live?"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from daemon.clock import SystemClock
from daemon.site.load import load_site
from daemon.store import StoreReader
from rules.acts import Act, ActKind
from rules.events import Event
from tests.adapters.receiver import Receiver, receiving
from tests.brokers import Broker
from tests.brokers import broker as broker
from tests.waiting import LIMIT, until

ROOT = Path(__file__).parents[2]
SITE = """
[site]
name = "Twice told"
timezone = "Europe/Dublin"
settle = "2 s"
catch_up = "3 s"

[[point]]
id = "loop.flow"
quantity = "flow"
unit = "L/min"
expect_every = "2 s"
quality = "none"

[[point]]
id = "house.temperature"
quantity = "air_temperature"
unit = "degC"
expect_every = "2 s"
quality = "none"

[[point]]
id = "pump.current"  # never heard
quantity = "current"
unit = "A"
expect_every = "2 s"
quality = "none"

[[point]]
id = "sump.level"  # never heard
quantity = "level"
unit = "cm"
expect_every = "2 s"
quality = "none"

[[rule]]
id = "loop.stopped"
kind = "stopped"
priority = "critical"
evidence = [{point = "loop.flow", under = 2.0}, {point = "sump.level", under = 5.0}]
on_delay = "1 s"
title = "Water has stopped"

[[rule]]
id = "pump.stopped"
kind = "stopped"
priority = "high"
evidence = [{point = "pump.current", under = 0.1}]

[[rule]]
id = "sump.silent"
kind = "silent"
point = "sump.level"
priority = "medium"

[[rule]]
id = "house.silent"
kind = "silent"
point = "house.temperature"
priority = "medium"

[[stage]]
id = "fan"
point = "house.temperature"
action = "run_fans"
on = 30
off = 28
safe = "off"

[[person]]
id = "keeper"
ways = ["phone"]

[store]
commit_every = "100 ms"

[selfwatch]
every = "1 s"

[adapter.mqtt]
host = "127.0.0.1"
port = PORT
topics = [
    {topic = "house/flow", payload = "plain", point = "loop.flow"},
    {topic = "house/air", payload = "plain", point = "house.temperature"},
]
"""


class House:
    """A site, its broker and a probe box; the daemon comes and goes."""

    def __init__(self, folder: Path, port: int, phone: Receiver) -> None:
        self.folder = folder
        (folder / "site.toml").write_text(SITE.replace("PORT", str(port)))
        self.store = load_site(folder / "site.toml").store_path
        self.clock = SystemClock()
        self.environment = os.environ | {
            "TIDEBED_WAY_PHONE": phone.address().reveal(),
            "TIDEBED_SITE": str(folder / "site.toml"),
        }
        self.sender = mqtt.Client(CallbackAPIVersion.VERSION2)
        self.sender.connect("127.0.0.1", port)
        self.sender.loop_start()

    @contextmanager
    def daemon(self) -> Iterator[None]:
        """It runs, and ends as at a shutdown."""
        said = self.folder / "daemon.log"
        with said.open("wb") as log:
            running = subprocess.Popen(
                [sys.executable, "-m", "daemon.main", "run"], cwd=ROOT, env=self.environment, stderr=log
            )
        try:
            until(lambda: "watching" in said.read_text())
            yield
        finally:
            running.send_signal(signal.SIGTERM)
            assert running.wait(LIMIT) == 0

    def command(self, *words: str) -> str:
        """What a command prints."""
        done = subprocess.run(
            [sys.executable, "-m", "daemon.main", *words],
            cwd=ROOT,
            env=self.environment,
            capture_output=True,
            text=True,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def say(self, topic: str, text: str) -> None:
        """Publish, and wait until the broker has it."""
        self.sender.publish(topic, text, qos=1).wait_for_publish(LIMIT)

    def events(self, kinds: tuple[str, ...] = ("alarm", "decision", "notice")) -> list[Event]:
        """The log, as far as it goes."""
        if not self.store.exists():
            return []
        with StoreReader(self.store) as store:
            return [event for event in store.events() if event.type in kinds]

    def states(self, rule: str, side: str) -> list[str]:
        """What became of an alarm, in order."""
        return [e.body["state"] for e in self.events(("alarm",)) if (e.body["rule"], e.body["side"]) == (rule, side)]

    def acts(self) -> list[Act]:
        """What people did, and when the daemon did not run."""
        with StoreReader(self.store) as store:
            return store.acts()

    def tell_until(self, topics: dict[str, str], rule: str, side: str, *states: str) -> None:
        """Send readings, some a second, until an alarm has come so far."""
        last = 0

        def there() -> bool:
            nonlocal last
            if self.clock.now() >= last + 200:
                last = self.clock.now()
                for topic, text in topics.items():
                    self.say(topic, text)
            return self.states(rule, side) == list(states)

        until(there)


def test_a_replay_of_the_store_says_what_the_daemon_said(tmp_path: Path, broker: Broker) -> None:
    """Alarms, decisions and messages: with points never heard, an acknowledgement, and a span without a daemon."""
    with receiving() as phone:
        house = House(tmp_path, broker.port, phone)
        with house.daemon():
            house.tell_until({"house/flow": "17", "house/air": "31"}, "pump.stopped", "blind", "unacknowledged")
            house.tell_until({"house/flow": "0", "house/air": "25"}, "loop.stopped", "stopped", "unacknowledged")
            house.command("ack", "loop.stopped", "--who", "keeper")
            house.tell_until({"house/flow": "0"}, "loop.stopped", "stopped", "unacknowledged", "acknowledged")
            until(lambda: house.states("house.silent", "silent") == ["unacknowledged"])
        ended = house.clock.now()
        # Longer than any point may be silent.
        until(lambda: house.clock.now() > ended + 8_000)
        with house.daemon():
            all_states = ("unacknowledged", "acknowledged", "normal")
            house.tell_until({"house/flow": "17", "house/air": "25"}, "loop.stopped", "stopped", *all_states)
            until(lambda: house.states("loop.stopped", "blind")[-1:] == ["unacknowledged"])
        house.sender.disconnect()
        house.sender.loop_stop()
    assert [act.kind for act in house.acts()] == [ActKind.ACKNOWLEDGE, ActKind.OFF]
    with StoreReader(house.store) as store:
        late = [name for name in store.points() if store.behind(name, 0, 2**62)]
    assert not late, "readings that came behind may differ"
    live = [event.line() for event in house.events()]
    printed = house.command("replay", str(tmp_path / "site.toml"), "store:", "--json")
    again = [line for line in map(json.loads, printed.splitlines()) if line["type"] in ("alarm", "decision", "notice")]
    assert {line["type"] for line in live} == {"alarm", "decision", "notice"}
    assert again == live
