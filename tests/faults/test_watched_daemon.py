"""Does the whole daemon answer links and the broker, tell the service manager, and fall silent when its loop hangs?"""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from daemon.clock import SystemClock
from daemon.site.load import load_site
from daemon.store import StoreReader
from tests.adapters.receiver import Receiver, receiving
from tests.brokers import Broker, free_port
from tests.needs import program
from tests.waiting import LIMIT, until

SITE = """
[site]
name = "Watched"
settle = "50 ms"

[[point]]
id = "loop.flow"
quantity = "flow"
unit = "L/min"
expect_every = "10 s"
quality = "none"

[[rule]]
id = "loop.stopped"
kind = "stopped"
priority = "critical"
evidence = [{point = "loop.flow", under = 2.0}]
title = "Water has stopped"

[[person]]
id = "keeper"
ways = ["phone", "siren"]

[store]
commit_every = "50 ms"

[web]
listen = "127.0.0.1:WEB"
link_base = "https://home.example"

[heartbeat]

[sending]
ack_topic = "tidebed/watched/ack"

[selfwatch]
every = "1 s"

[adapter.mqtt]
host = "127.0.0.1"
port = PORT
username = "tidebed"
password_env = "TIDEBED_TEST_PASSWORD"
topics = [{topic = "house/flow", payload = "plain", point = "loop.flow"}]
"""
DAEMON = """
import sys, threading
from dataclasses import replace
from pathlib import Path
import daemon.selfwatch.watch as watch
from daemon.service import Service, set_up_logging
from daemon.site.reach import HeartbeatTable

set_up_logging()
watch.TURNS_WITHIN = 1.0
service = Service(Path(sys.argv[1]))
# Beats that a test can wait for; a site file allows none so quick.
service.site = replace(service.site, heartbeat=HeartbeatTable.model_construct(every=100, address="heartbeat"))
commit = service.store.commit

def commit_or_hang(*given, **named):
    if Path(sys.argv[2]).exists():
        threading.Event().wait()
    return commit(*given, **named)

service.store.commit = commit_or_hang
service.run()
"""
PASSWORD, TOKEN = "brook-lime", "heron-key"


class Beats:
    """Somebody who waits for heartbeats."""

    def __init__(self) -> None:
        beats: list[str] = []

        class Handler(BaseHTTPRequestHandler):
            """Notes each."""

            def do_GET(self) -> None:
                """One beat."""
                beats.append(self.path)
                self.send_response(204)
                self.end_headers()

            def log_message(self, format: str, *args: object) -> None:
                """Nothing."""

        self.beats = beats
        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.thread = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.01})
        self.thread.start()

    def close(self) -> None:
        """Wait no more."""
        self.server.shutdown()
        self.thread.join()
        self.server.server_close()


class House:
    """A daemon with all that watches it."""

    def __init__(self, folder: Path, phone: Receiver) -> None:
        self.folder, self.phone, self.web = folder, phone, free_port()
        passwords = folder / "passwords"
        made = [program("mosquitto_passwd", "mosquitto"), "-b", "-c", str(passwords), "tidebed", PASSWORD]
        subprocess.run(made, check=True, capture_output=True)
        self.broker = Broker(folder, f"allow_anonymous false\npassword_file {passwords}")
        self.broker.start()
        self.beats = Beats()
        self.manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.manager.bind(str(folder / "notify.sock"))
        self.manager.setblocking(False)
        self.told: list[str] = []
        (folder / "site.toml").write_text(SITE.replace("PORT", str(self.broker.port)).replace("WEB", str(self.web)))
        self.site = load_site(folder / "site.toml")
        self.sender = self.connected()
        environment = os.environ | {
            "PYTHONPATH": str(Path(__file__).parents[2]),
            "TIDEBED_WAY_PHONE": phone.address().reveal(),
            "TIDEBED_WAY_SIREN": "mqtt-topic:house/siren",
            "TIDEBED_TOKEN_HEARTBEAT": f"http://127.0.0.1:{self.beats.server.server_port}/{TOKEN}",
            "TIDEBED_TEST_PASSWORD": PASSWORD,
            "NOTIFY_SOCKET": str(folder / "notify.sock"),
            "WATCHDOG_USEC": "3000000",
        }
        command = [sys.executable, "-c", DAEMON, str(folder / "site.toml"), str(folder / "hang")]
        with (folder / "daemon.log").open("wb") as log:
            self.daemon = subprocess.Popen(command, env=environment, stderr=log)

    def connected(self) -> mqtt.Client:
        """A probe box, which also hears the siren's topic."""
        client = mqtt.Client(CallbackAPIVersion.VERSION2)
        client.username_pw_set("tidebed", PASSWORD)
        self.siren: list[dict[str, str]] = []
        client.on_message = lambda _client, _data, message: self.siren.append(json.loads(message.payload))
        client.connect("127.0.0.1", self.broker.port)
        client.loop_start()
        client.subscribe("house/siren", qos=1)
        return client

    def say(self, topic: str, text: str) -> None:
        """Publish, and wait until the broker has it."""
        self.sender.publish(topic, text, qos=1).wait_for_publish(LIMIT)

    def heard(self) -> list[str]:
        """Everything the service manager was told so far."""
        while True:
            try:
                self.told.append(self.manager.recv(4096).decode())
            except BlockingIOError:
                return self.told

    def states(self) -> list[tuple[str, str]]:
        """(state, why) of the water's alarm."""
        if not self.site.store_path.exists():
            return []
        with StoreReader(self.site.store_path) as store:
            events = store.events(rule="loop.stopped", type="alarm")
        return [(event.body["state"], event.body["why"]) for event in events if event.body["side"] == "stopped"]

    def stop_water(self) -> None:
        """Readings of nothing, until the alarm is there."""

        def raised() -> bool:
            self.say("house/flow", "0")
            return bool(self.states())

        until(raised)

    def ask(self, method: str, path: str) -> tuple[int, str]:
        """One request to the endpoint."""
        connection = http.client.HTTPConnection("127.0.0.1", self.web, timeout=LIMIT)
        connection.request(method, path)
        answer = connection.getresponse()
        text = answer.read().decode()
        connection.close()
        return answer.status, text

    def close(self) -> None:
        """End all."""
        self.daemon.kill()
        self.daemon.wait()
        self.sender.disconnect()
        self.sender.loop_stop()
        self.broker.stop()
        self.beats.close()
        self.manager.close()


@contextmanager
def house(folder: Path) -> Iterator[House]:
    """Up and watching."""
    with receiving() as phone:
        made = House(folder, phone)
        try:
            until(lambda: any(text.startswith("READY=1") for text in made.heard()))
            yield made
        finally:
            made.close()


@pytest.fixture
def place(tmp_path: Path) -> Iterator[House]:
    """A daemon of the test's own."""
    program("mosquitto")
    with house(tmp_path) as made:
        yield made


def test_an_alarm_is_acknowledged_from_the_phone(place: House) -> None:
    """By the link of the message, not by a preview of it; the siren heard it too; no secret is written anywhere."""
    place.stop_water()
    assert place.phone.arrivals.acquire(timeout=LIMIT)
    message = json.loads(place.phone.got[0][1])
    link = re.search(r"^Seen it\? https://home\.example(/a/\S+)$", message["message"], re.MULTILINE)
    assert link is not None
    assert place.ask("GET", link[1])[0] == 200
    assert [state for state, _ in place.states()] == ["unacknowledged"]
    assert place.ask("POST", link[1])[0] == 200
    until(lambda: ("acknowledged", "by keeper: by link") in place.states())
    until(lambda: place.siren)
    assert (place.siren[0]["priority"], place.siren[0]["purpose"]) == ("critical", "first")
    place.daemon.send_signal(signal.SIGTERM)
    assert place.daemon.wait(LIMIT) == 0
    token = link[1].removeprefix("/a/")
    for file in place.folder.rglob("*"):
        if file.is_file() and not file.name.startswith("mosquitto"):
            data = file.read_bytes()
            for secret in (token, PASSWORD, TOKEN, "hunter-of-tilapia"):
                assert secret.encode() not in data, file


def test_an_alarm_is_acknowledged_by_the_broker(place: House) -> None:
    """By the rule's name on the answer topic."""
    place.stop_water()

    def acknowledged() -> bool:
        place.say("tidebed/watched/ack", "loop.stopped")
        return any(state == "acknowledged" for state, _ in place.states())

    until(acknowledged)


def test_the_daemon_measures_itself(place: House) -> None:
    """As readings in its store."""

    def points() -> set[str]:
        with StoreReader(place.site.store_path) as store:
            return set(store.points())

    until(lambda: "tidebed.disk_free" in points())
    with StoreReader(place.site.store_path) as store:
        latest = store.latest("tidebed.disk_free")
    assert latest is not None
    assert abs(latest[0] - SystemClock().now()) < 60_000
    assert 0 < latest[1] <= 1000


def test_signs_of_life_end_when_the_loop_hangs(place: House) -> None:
    """The service manager would start it anew, and whoever waits for heartbeats would call."""
    until(lambda: place.heard().count("WATCHDOG=1") >= 2)
    until(lambda: len(place.beats.beats) >= 3)
    (place.folder / "hang").touch()
    place.say("house/flow", "30")
    # With a time of 3 s and half of it without a turn, the last sign of life comes within 2 s; then there is none.
    until(lambda: "no heartbeat: the daemon does not watch" in (place.folder / "daemon.log").read_text())
    beats = len(place.beats.beats)

    def quiet() -> bool:
        place.manager.settimeout(3.0)
        try:
            place.told.append(place.manager.recv(4096).decode())
        except TimeoutError:
            return True
        finally:
            place.manager.setblocking(False)
        return False

    until(quiet)
    assert len(place.beats.beats) == beats
    assert place.daemon.poll() is None


def test_it_says_that_it_ends(place: House) -> None:
    """On SIGTERM, before it is gone."""
    place.daemon.send_signal(signal.SIGTERM)
    assert place.daemon.wait(LIMIT) == 0
    assert place.heard()[-1] == "STOPPING=1"
