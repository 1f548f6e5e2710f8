"""Are arrays, other clocks, old kept messages, devices that send changes only, and shared work understood?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cbor2

from adapters.intake import Arrived
from adapters.mqtt.decode import Decoder
from adapters.mqtt.settings import MqttSettings
from tests.adapters.mqtt.listening import Kept, listening, send
from tests.brokers import Broker
from tests.fed_points import POINTS
from tests.waiting import until

NOW = 1_775_182_470_000
SWITCH = {"topic": "pump/on", "point": "pump.on", "alive": "pump/alive"}


def decoder(*topics: dict[str, Any]) -> Decoder:
    return Decoder("mqtt", MqttSettings.model_validate({"topics": topics}), POINTS)


def test_every_element_of_an_array_is_a_reading() -> None:
    """With its own time; one that lacks a value costs only itself."""
    topic = {"topic": "box", "payload": "json", "point": "tank.temperature", "each": "/log", "value": "/t",
             "time": "/at", "time_format": "ms"}  # fmt: skip
    body = b'{"log":[{"t":21.5,"at":1775182460000},{"at":1775182465000},{"t":21.6,"at":1775182470000}]}'
    found = decoder(topic).decode("box", body, False, NOW)
    assert [(r.time, r.counts) for r in found.readings] == [(NOW - 10_000, 21500), (NOW, 21600)]
    assert [r.cause for r in found.refusals] == ["no value"]
    for wrong, cause in ((b'{"log":1}', "no array"), (b'{"log":[]}', "empty"), (b"{", "not JSON")):
        assert [r.cause for r in decoder(topic).decode("box", wrong, False, NOW).refusals] == [cause]


def test_a_senders_clock_can_be_left_unbelieved() -> None:
    """By topic; the reading is dated on arrival."""
    topic = {"topic": "packs", "payload": "senml", "dated": "arrival"}
    found = decoder(topic).decode("packs", b'[{"n":"tank.oxygen","bt":315532800,"v":7.5}]', False, NOW)
    assert found.readings == [Arrived("tank.oxygen", None, 750, 2)]


def test_a_kept_message_counts_by_its_age() -> None:
    """At the limit it is a reading; a millisecond older, or without a time, it is none."""
    topic = {"topic": "packs", "payload": "senml", "retained_within": "60 s"}
    one = decoder(topic)

    def kept(seconds: str) -> list[str]:
        body = b'[{"n":"tank.oxygen","bt":%s,"v":7.5}]' % seconds.encode()
        found = one.decode("packs", body, True, NOW)
        return [refusal.cause for refusal in found.refusals] or ["read"]

    assert kept("1775182410") == ["read"]
    assert kept("1775182409.999") == ["retained too long"]
    assert kept("0") == ["retained without a time"]


def test_cbor_packs_go_by_the_same_names() -> None:
    """As JSON's do."""
    topic = {"topic": "packs", "payload": "senml_cbor", "names": {"urn:x:1": "tank.oxygen"}}
    body = cbor2.dumps([{0: "urn:x:1", 1: "kg/m3", 2: 0.0075}])
    assert decoder(topic).decode("packs", body, False, NOW).readings == [Arrived("tank.oxygen", None, 750, 2)]


def test_a_device_that_sends_changes_only_is_fresh_while_it_is_there() -> None:
    """Repeated at expect_every from its last word on; its last will ends that, its birth begins it again."""
    one = decoder(SWITCH)
    last = [Arrived("pump.on", None, 1, 2)]
    assert one.decode("pump/on", b"1", False, NOW, 0.0).readings == last
    assert one.alive.due(1000.0) == []  # nobody has said that it is there
    assert one.decode("pump/alive", b"online", True, NOW, 1000.0).refusals == []
    assert one.alive.due(1000.0) == last
    assert one.alive.due(1059.9) == []
    assert one.alive.due(1060.0) == last
    one.decode("pump/on", b"0", False, NOW, 1070.0)
    assert one.alive.due(1129.9) == []
    assert [r.counts for r in one.alive.due(1130.0)] == [0]
    one.decode("pump/alive", b"offline", False, NOW, 1135.0)
    assert one.alive.due(9999.0) == []
    one.decode("pump/alive", b"online", False, NOW, 9999.0)
    assert [r.counts for r in one.alive.due(9999.0)] == [0]


def test_a_kept_value_waits_until_its_device_is_known_to_be_there() -> None:
    """In either order; it is no reading by itself."""
    for first, second in ((("pump/on", b"1"), ("pump/alive", b"1")), (("pump/alive", b"1"), ("pump/on", b"1"))):
        one = decoder(SWITCH)
        for topic, payload in (first, second):
            assert one.decode(topic, payload, True, NOW, 5.0).readings == []
        assert [r.counts for r in one.alive.due(5.0)] == [1]


def test_birth_and_last_will_come_through_a_real_broker(broker: Broker) -> None:
    """Both kept by it from before we came; after a restart of ours they are heard again."""
    send(broker.port, "1", topic="pump/on", retain=True)
    send(broker.port, "online", topic="pump/alive", retain=True)
    for _ in range(2):
        kept = Kept()
        with listening(broker.port, kept, topics=[SWITCH]):
            until(lambda kept=kept: kept.counts() == [1])  # type: ignore[misc] # bound for the loop


def test_two_daemons_share_a_topic(broker: Broker) -> None:
    """MQTT 5 shared subscription: each message goes to one of the two."""
    topics = [{"topic": "$share/house/tank/+", "point": "tank.{1}"}]
    first, second = Kept(), Kept()
    with (
        listening(broker.port, first, topics=topics, client_id="one"),
        listening(broker.port, second, topics=topics, client_id="two"),
    ):
        send(broker.port, *[str(value) for value in range(20)], topic="tank/temperature")
        together: Callable[[], list[int]] = lambda: sorted(first.counts() + second.counts())  # noqa: E731 - short
        until(lambda: len(together()) == 20)
        assert together() == [value * 1000 for value in range(20)]
        assert first.counts()
        assert second.counts()
