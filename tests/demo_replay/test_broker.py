"""Does a broker start on loopback, pass messages on in order, and stop?"""

from __future__ import annotations

import importlib.util
import shutil
import socket
import threading
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from demo_replay import broker
from demo_replay.broker import HOST, KINDS, Broker, BrokerFailed, free_port, installed
from tests.needs import program

MANY = 500


def _needed(kind: str) -> str:
    if kind == "mosquitto":
        program("mosquitto")
    return kind


def _connected(port: int) -> mqtt.Client:
    return _ready(mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv311), port)


def _ready(client: mqtt.Client, port: int) -> mqtt.Client:
    ready = threading.Event()
    client.on_connect = lambda *_: ready.set()
    client.connect(HOST, port)
    client.loop_start()
    assert ready.wait(10)
    return client


def _ended(client: mqtt.Client) -> None:
    client.disconnect()
    client.loop_stop()


class Hearer:
    """Subscribes, and keeps the numbers that come; `done` is set when there are `count` of them."""

    def __init__(self, port: int, count: int, client_id: str = "") -> None:
        """With a client id, the broker keeps the session while it is away."""
        self.found: list[int] = []
        self.done = threading.Event()
        self._count = count
        self.client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, protocol=mqtt.MQTTv311, clean_session=not client_id
        )
        # Set before it connects: what waited for it comes at once.
        self.client.on_message = self._heard
        ready = threading.Event()
        self.client.on_subscribe = lambda *_: ready.set()
        _ready(self.client, port)
        self.client.subscribe("bench/#", 1)
        assert ready.wait(10)

    def _heard(self, _: mqtt.Client, __: object, message: mqtt.MQTTMessage) -> None:
        self.found.append(int(message.payload))
        if len(self.found) >= self._count:
            self.done.set()


@pytest.mark.parametrize("kind", KINDS)
def test_messages_of_one_sender_come_in_order(kind: str, tmp_path: Path) -> None:
    """Messages on several topics at QoS 1 arrive complete and in the order in which they were sent."""
    with Broker(tmp_path / "a broker's files", _needed(kind)) as running:
        sender, hearer = _connected(running.port), Hearer(running.port, MANY)
        for number in range(MANY):
            sender.publish(f"bench/{number % 3}", str(number), qos=1)
        assert hearer.done.wait(30)
        assert hearer.found == list(range(MANY))
        _ended(sender)
        _ended(hearer.client)


@pytest.mark.parametrize("kind", KINDS)
def test_it_listens_on_loopback_alone(kind: str, tmp_path: Path) -> None:
    """The port of another address of this machine stays free."""
    with Broker(tmp_path, _needed(kind)) as running, socket.socket() as other:
        other.bind(("127.0.0.2", running.port))


@pytest.mark.parametrize("kind", KINDS)
def test_a_stopped_broker_takes_no_connection_and_starts_again_on_its_port(kind: str, tmp_path: Path) -> None:
    """Stopping twice does no harm; a second start serves the same port."""
    with Broker(tmp_path, _needed(kind)) as running:
        port = running.port
        running.stop()
        running.stop()
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection((HOST, port), timeout=5)
        running.start()
        assert running.port == port
        socket.create_connection((HOST, port), timeout=5).close()


def test_what_waits_for_a_sleeping_subscriber_outlives_mosquitto(tmp_path: Path) -> None:
    """Messages for a kept session that came before a restart are there after it, however many wait."""
    with Broker(tmp_path, _needed("mosquitto")) as running:
        _ended(Hearer(running.port, 2000, "sleeper").client)
        sender = _connected(running.port)
        for number in range(2000):
            last = sender.publish("bench/0", str(number), qos=1)
        last.wait_for_publish(30)
        _ended(sender)
        running.stop()
        running.start()
        hearer = Hearer(running.port, 2000, "sleeper")
        assert hearer.done.wait(30)
        assert hearer.found == list(range(2000))
        _ended(hearer.client)


def test_a_port_that_is_taken_is_refused(tmp_path: Path) -> None:
    """What listens there already is not taken for the broker."""
    with socket.socket() as taken:
        taken.bind((HOST, 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(BrokerFailed, match=f"something else uses 127.0.0.1:{port}; end it"):
            Broker(tmp_path, "amqtt", port).start()


def test_a_broker_that_does_not_start_is_refused_with_its_own_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where it ends at once, what it said is told."""
    program = tmp_path / "mosquitto"
    program.write_text("#!/bin/sh\necho Error: unknown setting\nexit 3\n")
    program.chmod(0o755)
    monkeypatch.setattr(broker, "_found_mosquitto", lambda: str(program))
    with pytest.raises(BrokerFailed, match=r"mosquitto does not start on 127\.0\.0\.1:\d+; it says: .*unknown setting"):
        Broker(tmp_path / "files", "mosquitto").start()


def test_without_any_broker_it_is_told_how_to_get_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither is installed: the message names both ways."""
    monkeypatch.setattr(shutil, "which", lambda *_, **__: None)
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    with pytest.raises(BrokerFailed, match=r"pip install amqtt.*apt-get install mosquitto"):
        installed()


@pytest.mark.parametrize("kind", KINDS)
def test_the_first_that_is_installed_is_taken(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Mosquitto goes first; amqtt stands in where it is missing."""
    monkeypatch.setattr(broker, "_found_mosquitto", lambda: "/usr/sbin/mosquitto" if kind == "mosquitto" else None)
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: object())
    assert installed() == kind


def test_a_free_port_can_be_listened_on() -> None:
    """The port that is found can be bound."""
    with socket.socket() as held:
        held.bind((HOST, free_port()))
