"""How do the tests of the connection hear what an adapter delivers, and speak to its broker?"""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from paho.mqtt import publish, subscribe
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from adapters.backoff import Backoff
from adapters.intake import Delivery
from adapters.mqtt.connection import MqttAdapter
from adapters.mqtt.settings import MqttSettings
from tests.fed_points import POINTS
from tests.waiting import until

NOW = 1_775_182_470_000
TOPIC = "house/tank/temperature"


class StoodClock:
    """A clock that stands still."""

    def now(self) -> int:
        return NOW


class Kept:
    """An inlet that keeps what it is given; at most `room` deliveries where that is told."""

    def __init__(self, room: int | None = None) -> None:
        self.deliveries: list[Delivery] = []
        self.room = room
        self.done: list[int] = []
        self.failure: Exception | None = None
        self._lock = threading.Lock()

    def put(self, delivery: Delivery) -> None:
        if self.failure is not None:
            raise self.failure
        with self._lock:
            if self.room is not None and len(self.deliveries) >= self.room:
                raise queue.Full
            self.deliveries.append(delivery)

    def counts(self) -> list[int]:
        """The counts of all readings in the order in which they came."""
        return [reading.counts for delivery in list(self.deliveries) for reading in delivery.readings]

    def commit(self) -> None:
        """Acknowledge everything, as after writing it to disk."""
        with self._lock:
            taken, self.deliveries = self.deliveries, []
        for delivery in taken:
            self.done += [reading.counts for reading in delivery.readings]
            delivery.done()

    def wants_commit(self) -> bool:
        """Whether the sender's window may soon be full."""
        with self._lock:
            return any(delivery.wants_commit for delivery in self.deliveries)


def settings(port: int, **changes: Any) -> MqttSettings:
    table: dict[str, Any] = {
        "host": "127.0.0.1",
        "port": port,
        "topics": [
            {"topic": "house/+/+", "point": "{1}.{2}"},
            {"topic": "packs", "payload": "senml"},
        ],
    }
    return MqttSettings.model_validate(table | changes)


def adapter(port: int, **changes: Any) -> MqttAdapter:
    """An adapter that comes back quickly."""
    return MqttAdapter(settings(port, **changes), POINTS, "Tide House 7", backoff=Backoff(0.02, 0.1))


@contextmanager
def listening(port: int, kept: Kept, **changes: Any) -> Iterator[MqttAdapter]:
    """A started adapter that has subscribed and whose backlog is through."""
    made = adapter(port, **changes)
    made.start(kept, StoodClock())
    try:
        until(lambda: made.drained() or made.health().state == "failed")
        yield made
    finally:
        made.stop()


def send(port: int, *payloads: str | bytes, topic: str = TOPIC, qos: int = 1, retain: bool = False) -> None:
    """Publish in this order; returns when the broker has them all."""
    publish.multiple(
        [{"topic": topic, "payload": payload, "qos": qos, "retain": retain} for payload in payloads],
        hostname="127.0.0.1",
        port=port,
    )


def retained(port: int, topic: str) -> bytes:
    """What the broker keeps for a topic; waits for it."""
    found = subscribe.simple(topic, hostname="127.0.0.1", port=port)  # type: ignore[no-untyped-call] # no types there
    return bytes(found.payload)


@contextmanager
def hearing(port: int, topic: str) -> Iterator[list[bytes]]:
    """What is published under a topic while this lasts, in order."""
    heard: list[bytes] = []
    client = Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _client, _userdata, message: heard.append(bytes(message.payload))
    ready = threading.Event()
    client.on_subscribe = lambda *_: ready.set()
    client.connect("127.0.0.1", port)
    client.subscribe(topic, 1)
    client.loop_start()
    try:
        until(ready.is_set)
        yield heard
    finally:
        client.disconnect()
        client.loop_stop()
