"""Does a message become the right delivery?"""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.intake import FUTURE_MARGIN, OLDEST, Arrived
from adapters.mqtt.decode import Decoder
from adapters.mqtt.settings import MqttSettings
from tests.fed_points import POINTS

NOW = 1_775_182_470_000
TABLE: dict[str, Any] = {
    "topics": [
        {"topic": "house/+/+", "point": "{1}.{2}"},
        {"topic": "fahrenheit", "point": "tank.temperature", "unit": "degF"},
        {
            "topic": "box",
            "payload": "json",
            "point": "tank.temperature",
            "value": "/t",
            "time": "/at",
            "time_format": "ms",
        },
        {"topic": "box", "payload": "json", "point": "tank.oxygen", "value": "/do", "time": "/at", "time_format": "ms"},
        {"topic": "packs", "payload": "senml", "names": {"urn:x:1": "tank.oxygen"}},
        {"topic": "boxes/+", "payload": "senml", "point": "{1}.{name}"},
    ]
}


def decoder(**changes: Any) -> Decoder:
    return Decoder("mqtt", MqttSettings.model_validate(TABLE | changes), POINTS)


def causes(topic: str, payload: bytes, *, retained: bool = False, now: int = NOW, **changes: Any) -> list[str]:
    found = decoder(**changes).decode(topic, payload, retained, now)
    assert found.readings == []
    return [refusal.cause for refusal in found.refusals]


def readings(topic: str, payload: bytes, *, retained: bool = False, now: int = NOW) -> list[Arrived]:
    found = decoder().decode(topic, payload, retained, now)
    assert found.refusals == []
    assert found.adapter == "mqtt"
    return found.readings


def test_a_filter_can_name_many_points() -> None:
    """The wildcards fill the point's name; a topic that fills in to no point is refused."""
    assert readings("house/tank/temperature", b"21.5") == [Arrived("tank.temperature", None, 21500, 2)]
    assert readings("house/pump/on", b"true") == [Arrived("pump.on", None, 1, 2)]
    assert causes("house/pond/temperature", b"21.5") == ["unknown point"]


def test_a_topic_may_carry_several_points() -> None:
    """One JSON payload feeds every point that a setting of the same topic names."""
    assert readings("box", b'{"t": 21.5, "do": 7.25, "at": 1775182470000}') == [
        Arrived("tank.temperature", NOW, 21500, 2),
        Arrived("tank.oxygen", NOW, 725, 2),
    ]


def test_senml_names_are_points_or_are_given_points() -> None:
    """By the list of names, or by the name itself, or filled into a template."""
    assert readings("packs", b'[{"n":"urn:x:1","u":"kg/m3","v":0.0075}]') == [Arrived("tank.oxygen", None, 750, 2)]
    assert readings("packs", b'[{"n":"tank.oxygen","v":7.5}]') == [Arrived("tank.oxygen", None, 750, 2)]
    assert readings("boxes/tank", b'[{"n":"oxygen","v":7.5}]') == [Arrived("tank.oxygen", None, 750, 2)]
    assert readings("packs", b'[{"n":"tank.oxygen","t":-5,"v":7.5}]')[0].time == NOW - 5000
    assert causes("boxes/pond", b'[{"n":"oxygen","v":7.5}]') == ["unknown point"]


def test_a_remainder_is_counted() -> None:
    """45 degF is 7.2222... degC; the step is too coarse only where the remainder came in the point's own unit."""
    found = decoder().decode("fahrenheit", b"45", False, NOW)
    assert (found.readings[0].counts, found.rounded, found.coarse) == (7222, 1, [])
    found = decoder().decode("house/tank/temperature", b"21.5005", False, NOW)
    assert (found.readings[0].counts, found.rounded, found.coarse) == (21500, 1, ["tank.temperature"])
    assert decoder().decode("house/tank/temperature", b"21.500", False, NOW).coarse == []


def test_an_unknown_topic_is_refused() -> None:
    """And remembered no more than a bound allows."""
    assert causes("elsewhere", b"1") == ["unknown topic"]
    one = decoder()
    for number in range(10_000):
        one.decode(f"elsewhere/{number}", b"1", False, NOW)
    assert len(one._routes) <= 4096


@pytest.mark.parametrize(("size", "refused"), [(65535, False), (65536, False), (65537, True), (2_000_000, True)])
def test_a_payload_beyond_the_bound_is_refused(size: int, refused: bool) -> None:
    """Below, at and above 64 KiB; it is not even looked at."""
    payload = b"1.5".ljust(size)
    if refused:
        assert causes("house/tank/temperature", payload) == ["payload too large"]
    else:
        assert len(readings("house/tank/temperature", payload)) == 1


def test_a_retained_message_without_a_time_is_no_reading() -> None:
    """Nobody knows how old it is; one with a time of its own is a reading like others."""
    assert causes("house/tank/temperature", b"21.5", retained=True) == ["retained without a time"]
    assert len(readings("box", b'{"t": 21.5, "do": 7, "at": 1775182470000}', retained=True)) == 2


@pytest.mark.parametrize(
    ("time", "cause"),
    [
        (OLDEST - 1, "time before 2000"),
        (OLDEST, None),
        (NOW + FUTURE_MARGIN, None),
        (NOW + FUTURE_MARGIN + 1, "time in the future"),
    ],
)
def test_an_impossible_time_is_refused(time: int, cause: str | None) -> None:
    """A clock that was never set, and one that runs ahead."""
    payload = json.dumps({"t": 21, "do": 7, "at": time}).encode()
    if cause is None:
        assert len(readings("box", payload)) == 2
    else:
        assert causes("box", payload) == [cause, cause]


def test_a_played_clock_moves_by_its_topic() -> None:
    """Its payload is the new time in ms; readings may be dated ahead of a clock that stands still."""
    played = decoder(clock_topic="clock")
    assert played.decode("clock", b"1775182470000", False, 0).clock == 1775182470000
    assert len(played.decode("box", b'{"t": 21.5, "do": 7, "at": 1775182470000}', False, 0).readings) == 2
    for payload in (b"", b"now", b"-1", b"1.5", b"9" * 16):
        assert causes("clock", payload, clock_topic="clock") == ["bad clock"]
    assert causes("clock", b"1775182470000", retained=True, clock_topic="clock") == ["retained without a time"]
    assert causes("box", b'{"t": 21.5, "do": 7, "at": 0}', clock_topic="clock") == ["time before 2000"] * 2


TOPIC = st.one_of(
    st.sampled_from(["house/tank/temperature", "house/pump/on", "box", "packs", "boxes/tank", "clock", "fahrenheit"]),
    st.text(max_size=12),
)
PAYLOAD = st.one_of(
    st.binary(max_size=80),
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(st.sampled_from(["t", "do", "at", "n", "v", "bn", "bt", "u", "vb"]), inner)
        ),
        max_leaves=12,
    ).map(lambda document: json.dumps(document).encode()),
)


@given(TOPIC, PAYLOAD, st.booleans(), st.integers(0, 2**42))
def test_any_message_is_read_or_refused(topic: str, payload: bytes, retained: bool, now: int) -> None:
    """No message crashes the decoder, and none disappears without a word (a pack of base fields holds none)."""
    found = decoder(clock_topic="clock").decode(topic, payload, retained, now)
    assert found.readings or found.refusals or found.clock is not None or payload.lstrip().startswith(b"[{")
    assert all(reading.point in POINTS for reading in found.readings)
    assert all(len(refusal.detail) < 600 and refusal.detail.isprintable() for refusal in found.refusals)
