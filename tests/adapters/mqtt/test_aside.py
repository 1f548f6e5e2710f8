"""Do messages for a lamp or a siren, and people's answers, pass over a real broker?"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import SimpleQueue

import pytest

from adapters.local_way import Ways, is_local
from adapters.mqtt.aside import Aside, Published
from adapters.mqtt.settings import MqttSettings
from adapters.notify import Outcome, Result
from adapters.secrets import SecretUrl
from tests.brokers import Broker, broker
from tests.waiting import LIMIT, until

__all__ = ["broker"]


def settings(port: int, **more: str) -> MqttSettings:
    """A connection to the broker of the test."""
    table = {"host": "127.0.0.1", "port": port, "topics": [{"topic": "x", "point": "x"}], **more}
    return MqttSettings.model_validate(table)


@contextmanager
def listening(port: int, topic: str, **more: str) -> Iterator[tuple[Aside, SimpleQueue[bytes]]]:
    """An aside that hears a topic."""
    heard: SimpleQueue[bytes] = SimpleQueue()
    aside = Aside(settings(port, **more), f"listener-{topic.replace('/', '-')}", topic, heard.put)
    aside.start()
    try:
        assert aside.wait_connected(LIMIT)
        yield aside, heard
    finally:
        aside.stop()


@contextmanager
def speaking(port: int, name: str = "speaker", **more: str) -> Iterator[Aside]:
    """An aside that hears nothing."""
    aside = Aside(settings(port, **more), name)
    aside.start()
    try:
        assert aside.wait_connected(LIMIT)
        yield aside
    finally:
        aside.stop()


@pytest.mark.parametrize("protocol", ["auto", "3.1.1"])
def test_what_the_broker_confirmed_arrives(broker: Broker, protocol: str) -> None:
    """Under both versions of the protocol."""
    with (
        listening(broker.port, "house/siren", protocol=protocol) as (_, heard),
        speaking(broker.port, protocol=protocol) as aside,
    ):
        assert aside.publish("house/siren", b"one") is Published.CONFIRMED
        assert heard.get(timeout=LIMIT) == b"one"


def test_without_a_connection_nothing_is_kept_for_later(broker: Broker) -> None:
    """The outbox keeps it; else it would arrive twice."""
    aside = Aside(settings(broker.port), "never-started")
    assert aside.publish("house/siren", b"x") is Published.NOT_SENT


def test_after_a_loss_it_comes_back(broker: Broker) -> None:
    """And hears its topic again."""
    with listening(broker.port, "house/ack") as (aside, heard):
        broker.stop()
        until(lambda: not aside.wait_connected(0))
        assert aside.publish("house/siren", b"x") is Published.NOT_SENT
        broker.start()
        assert aside.wait_connected(LIMIT)
        with speaking(broker.port) as other:
            assert other.publish("house/ack", b"tank.warm") is Published.CONFIRMED
        assert heard.get(timeout=LIMIT) == b"tank.warm"


def test_a_topic_that_is_not_ours_is_refused_by_name(tmp_path: Path) -> None:
    """MQTT 5 says so; the message is then refused for good, not tried for ever."""
    folder = tmp_path / "shut"
    folder.mkdir()
    (folder / "acl").write_text("topic write house/lamp\n")
    (folder / "acl").chmod(0o600)
    shut = Broker(folder, f"allow_anonymous true\nacl_file {folder / 'acl'}")
    shut.start()
    try:
        with speaking(shut.port) as aside:
            assert aside.publish("house/lamp", b"x") is Published.CONFIRMED
            assert aside.publish("house/siren", b"x") is Published.REFUSED
    finally:
        shut.stop()


def test_a_message_that_the_broker_kept_is_no_answer(broker: Broker) -> None:
    """It may be years old."""
    import paho.mqtt.client as mqtt
    from paho.mqtt.enums import CallbackAPIVersion

    keeper = mqtt.Client(CallbackAPIVersion.VERSION2)
    keeper.connect("127.0.0.1", broker.port)
    keeper.loop_start()
    keeper.publish("house/ack", "old", qos=1, retain=True).wait_for_publish(LIMIT)
    keeper.disconnect()
    keeper.loop_stop()
    with listening(broker.port, "house/ack") as (_, heard), speaking(broker.port) as other:
        assert other.publish("house/ack", b"new") is Published.CONFIRMED
        assert heard.get(timeout=LIMIT) == b"new"


def test_a_missing_password_is_told_and_stops_nothing(caplog: pytest.LogCaptureFixture) -> None:
    """As for the connection of readings."""
    aside = Aside(settings(1, username="tidebed", password_env="TIDEBED_NO_SUCH"), "x")
    aside.start()
    aside.stop()
    assert "TIDEBED_NO_SUCH" in caplog.text


class Elsewhere:
    """Any other service."""

    def __init__(self) -> None:
        self.got: list[str] = []

    def send(
        self, way: SecretUrl, title: str, body: str, message_id: str, priority: str, purpose: str = "first"
    ) -> Outcome:
        """As Notifier."""
        self.got.append(message_id)
        return Outcome(Result.DELIVERED)


def test_a_local_way_is_published_and_all_others_go_elsewhere(broker: Broker) -> None:
    """As JSON that a board with a lamp understands."""
    elsewhere = Elsewhere()
    with listening(broker.port, "house/siren") as (_, heard), speaking(broker.port) as aside:
        ways = Ways(elsewhere, aside.publish)
        siren = SecretUrl("siren", "mqtt-topic:house/siren")
        assert is_local(siren)
        outcome = ways.send(siren, "Water has stopped", "Flow 0 L/min.", "m1", "critical", "recovery")
        assert outcome.result is Result.DELIVERED
        assert json.loads(heard.get(timeout=LIMIT)) == {
            "title": "Water has stopped",
            "message": "Flow 0 L/min.",
            "priority": "critical",
            "purpose": "recovery",
            "message_id": "m1",
        }
        ways.send(SecretUrl("phone", "json://x"), "t", "b", "m2", "high")
    assert elsewhere.got == ["m2"]


@pytest.mark.parametrize(
    ("published", "result"),
    [
        (Published.CONFIRMED, Result.DELIVERED),
        (Published.NOT_SENT, Result.FAILED),
        (Published.UNKNOWN, Result.UNKNOWN),
        (Published.REFUSED, Result.REFUSED),
    ],
)
def test_every_end_of_a_publication_is_an_outcome(published: Published, result: Result) -> None:
    """So that the outbox tries again, doubts or sets aside."""
    ways = Ways(Elsewhere(), lambda topic, payload: published)
    assert ways.send(SecretUrl("siren", "mqtt-topic:house/siren"), "t", "b", "m", "high").result is result


@pytest.mark.parametrize("address", ["mqtt-topic:", "mqtt-topic:house/+", "mqtt-topic:house/#"])
def test_an_address_that_names_no_topic_is_refused(address: str) -> None:
    """With how to write one."""
    outcome = Ways(Elsewhere(), lambda t, p: Published.CONFIRMED).send(
        SecretUrl("siren", address), "t", "b", "m", "high"
    )
    assert outcome.result is Result.REFUSED
    assert "mqtt-topic:house/siren" in outcome.reason


def test_a_local_way_without_a_broker_is_refused() -> None:
    """With what to add."""
    outcome = Ways(Elsewhere(), None).send(SecretUrl("siren", "mqtt-topic:house/siren"), "t", "b", "m", "high")
    assert "[adapter.mqtt]" in outcome.reason
