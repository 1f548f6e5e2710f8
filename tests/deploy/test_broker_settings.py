"""Does the broker, with the settings we hand out, keep strangers out and readings in?"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from tests.deploy.broker import PASSWORDS, UNTIL, Broker, broker

SESSION_DAYS = 10


class Client:
    """One connection that remembers what it was told."""

    def __init__(self, at: Broker, user: str | None, *, password: str | None = None, session: str = "") -> None:
        self.reason: ReasonCode | None = None
        self.heard: list[str] = []
        self.granted: list[int] = []
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=session, protocol=mqtt.MQTTv5)
        self.client.max_inflight_messages_set(1000)
        self.client.max_queued_messages_set(0)
        self.client.on_connect = self._connected
        self.client.on_message = self._message
        self.client.on_subscribe = self._subscribed
        if user is not None:
            self.client.username_pw_set(user, PASSWORDS.get(user) if password is None else password)
        kept = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # the library has no type there
        kept.SessionExpiryInterval = SESSION_DAYS * 86_400 if session else 0
        self.client.connect("127.0.0.1", at.port, clean_start=not session, properties=kept)
        self.client.loop_start()
        wait_until(lambda: self.reason is not None)

    def _connected(self, client: object, data: object, flags: object, reason: ReasonCode, properties: object) -> None:
        self.reason = reason

    def _message(self, client: object, data: object, message: mqtt.MQTTMessage) -> None:
        self.heard.append(message.payload.decode())

    def _subscribed(self, client: object, data: object, mid: int, codes: list[ReasonCode], properties: object) -> None:
        self.granted = [code.value for code in codes]

    def subscribe(self, topic: str) -> None:
        self.granted = []
        self.client.subscribe(topic, qos=1)
        wait_until(lambda: bool(self.granted))

    def publish(self, topic: str, payload: str) -> mqtt.MQTTMessageInfo:
        return self.client.publish(topic, payload, qos=1)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def wait_until(holds: Callable[[], bool]) -> None:
    """Until a condition holds; a deadline turns a hang into a failure."""
    end = time.monotonic() + UNTIL
    while not holds():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.01)


@pytest.mark.parametrize(("user", "password"), [(None, None), ("tidebed", "guess"), ("stranger", "keeper")])
def test_who_has_no_password_is_refused(tmp_path: Path, user: str | None, password: str | None) -> None:
    """Nobody, a known name with a wrong password, and an unknown name."""
    with broker(tmp_path) as running:
        client = Client(running, user, password=password)
        assert client.reason is not None
        assert client.reason.is_failure
        client.close()


def test_a_probe_box_speaks_for_itself_only(tmp_path: Path) -> None:
    """Below its own name it is heard; below another's, and under Tidebed's topics, it is not."""
    with broker(tmp_path) as running:
        keeper, box = Client(running, "tidebed"), Client(running, "bed_box")
        keeper.subscribe("greenhouse/#")
        for topic in ("greenhouse/tank_box/level", "tidebed/alarms", "greenhouse/bed_box/level"):
            box.publish(topic, topic).wait_for_publish(UNTIL)
        wait_until(lambda: bool(keeper.heard))
        assert keeper.heard == ["greenhouse/bed_box/level"]
        keeper.close()
        box.close()


def test_answers_come_in_from_who_may_answer_and_the_siren_hears_its_own_topic(tmp_path: Path) -> None:
    """A probe box can neither acknowledge nor listen to messages, and the siren's board cannot acknowledge."""
    with broker(tmp_path) as running:
        names = ("tidebed", "bed_box", "keeper_phone", "siren_box")
        keeper, box, phone, siren = (Client(running, name) for name in names)
        keeper.subscribe("tidebed/ack")
        siren.subscribe("tidebed/siren")
        for client, said in ((box, "no"), (siren, "no"), (phone, "loop.stopped")):
            client.publish("tidebed/ack", said).wait_for_publish(UNTIL)
        keeper.publish("tidebed/siren", "critical").wait_for_publish(UNTIL)
        wait_until(lambda: bool(keeper.heard and siren.heard))
        assert (keeper.heard, siren.heard) == (["loop.stopped"], ["critical"])
        for client in (keeper, box, phone, siren):
            client.close()


def test_a_backlog_waits_for_the_daemon_and_survives_the_brokers_restart(tmp_path: Path) -> None:
    """Five thousand readings, five times the broker's own limit, come in order after both were away."""
    readings = [str(number) for number in range(5000)]
    with broker(tmp_path) as running:
        keeper = Client(running, "tidebed", session="tidebed-daemon")
        keeper.subscribe("greenhouse/#")
        keeper.close()
        box = Client(running, "bed_box")
        sent = [box.publish("greenhouse/bed_box/level", reading) for reading in readings]
        for one in sent:
            one.wait_for_publish(UNTIL)
        box.close()
        running.stop()
        running.start()
        keeper = Client(running, "tidebed", session="tidebed-daemon")
        wait_until(lambda: len(keeper.heard) >= len(readings))
        assert keeper.heard == readings
        keeper.close()
