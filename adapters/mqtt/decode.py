"""Which readings does a message carry? Pure: topic and payload in, a delivery out."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from adapters.intake import OLDEST, Arrived, Delivery, Refusal, judge_time
from adapters.mqtt.alive import Alive
from adapters.mqtt.settings import MqttSettings, TopicSettings
from adapters.mqtt.topics import TopicFilter
from adapters.payloads.decoded import Decoded, quote
from adapters.payloads.doors import Doors
from adapters.payloads.json_fields import Field, decode_each, decode_fields
from adapters.payloads.json_pointer import Pointer
from adapters.payloads.plain import decode_plain
from adapters.payloads.senml import decode_senml
from adapters.payloads.senml_cbor import decode_senml_cbor
from adapters.payloads.senml_units import parse_senml_unit
from rules.plan import PointPlan

_REMEMBERED = 4096
"""Topics whose routes are remembered; a sender that makes up topics cannot fill the memory."""
_CLOCK = re.compile(rb"[0-9]{1,15}")


@dataclass(frozen=True, slots=True)
class _Share:
    """How one part of a topic's payloads is decoded, and by which settings its readings are judged."""

    settings: TopicSettings
    read: Callable[[bytes, int], Decoded]


class Decoder:
    """Turns messages into deliveries, by the settings and the plan's points."""

    def __init__(self, name: str, settings: MqttSettings, points: Mapping[str, PointPlan]) -> None:
        self._name = name
        self._settings = settings
        self._points = points
        self._doors = Doors(points)
        self._senml_doors = Doors(points, parse_senml_unit)
        self._topics = [(TopicFilter(topic.topic), topic) for topic in settings.topics]
        self._routes: dict[str, tuple[_Share, ...]] = {}
        self.alive = Alive(settings.topics, points)

    def decode(self, topic: str, payload: bytes, retained: bool, now: int, monotonic: float = 0.0) -> Delivery:
        """The readings of one message, and a refusal for whatever in it is none.

        retained: the broker kept it from before we subscribed; without a time of its own it is no reading then.
        now: ms UTC, for times relative to it and to tell impossible ones; monotonic: seconds, for devices that send
        changes only.
        """
        delivery = Delivery(self._name)
        settings = self._settings
        if len(payload) > settings.max_payload:
            delivery.refusals.append(
                Refusal("payload too large", f"{quote(topic)}: {len(payload)} bytes, at most {settings.max_payload}")
            )
            return delivery
        if topic == settings.clock_topic:
            _read_clock(delivery, payload, retained)
            return delivery
        told = self.alive.told(topic, payload, monotonic)
        route = self._route(topic)
        if not route and not told:
            delivery.refusals.append(Refusal("unknown topic", f"no topic of the settings names {quote(topic)}"))
        for share in route:
            self._take(delivery, share.read(payload, now), share.settings, retained, now, monotonic)
        return delivery

    def _take(
        self, into: Delivery, decoded: Decoded, settings: TopicSettings, retained: bool, now: int, monotonic: float
    ) -> None:
        into.refusals.extend(decoded.refusals)
        into.rounded += decoded.rounded
        into.coarse += decoded.coarse
        for reading in decoded.readings:
            if settings.dated == "arrival":
                reading = reading._replace(time=None)
            if settings.alive is not None:
                self.alive.heard(settings.alive, reading, monotonic, kept=retained)
                if retained and reading.time is None:
                    continue  # not a reading now, but repeated as soon as its device is known to be there
            cause = self._judge(reading, settings, retained, now)
            if cause is None:
                into.readings.append(reading)
            else:
                into.refusals.append(Refusal(cause, f"{reading.point}: a reading of {reading.time}"))

    def _judge(self, reading: Arrived, settings: TopicSettings, retained: bool, now: int) -> str | None:
        if reading.time is None:
            return "retained without a time" if retained else None
        if retained and settings.retained_within is not None and now - reading.time > settings.retained_within:
            return "retained too long"
        # A played clock stands still between the player's ticks, while readings come dated after it.
        return judge_time(reading.time, now if self._settings.clock_topic is None else max(reading.time, OLDEST))

    def _route(self, topic: str) -> tuple[_Share, ...]:
        if topic not in self._routes:
            if len(self._routes) >= _REMEMBERED:
                self._routes.clear()
            self._routes[topic] = tuple(self._find(topic))
        return self._routes[topic]

    def _find(self, topic: str) -> Iterator[_Share]:
        """Plain numbers, then the fields of JSON (a document is parsed once), then packs."""
        named = [(settings, wild) for pattern, settings in self._topics if (wild := pattern.match(topic)) is not None]
        for settings, wildcards in named:
            if settings.payload == "plain":
                yield _Share(settings, self._plain(settings.template().fill(wildcards), settings.unit))
        documents: dict[object, tuple[TopicSettings, list[Field]]] = {}
        for settings, wildcards in named:
            if settings.payload == "json":
                alike = (settings.each, settings.dated, settings.retained_within, settings.alive)
                _, fields = documents.setdefault(alike, (settings, []))
                fields.append(_field(settings, settings.template().fill(wildcards)))
        for settings, fields in documents.values():
            yield _Share(settings, self._fields(fields, settings.each))
        for settings, wildcards in named:
            if settings.is_senml:
                yield _Share(settings, self._senml(settings, self._by_name(settings, wildcards)))

    def _plain(self, point: str, unit: str | None) -> Callable[[bytes, int], Decoded]:
        return lambda payload, now: decode_plain(payload, point, self._doors, unit)

    def _fields(self, fields: Sequence[Field], each: str | None) -> Callable[[bytes, int], Decoded]:
        if each is None:
            return lambda payload, now: decode_fields(payload, fields, self._doors)
        pointer = Pointer(each)
        return lambda payload, now: decode_each(payload, pointer, fields, self._doors)

    def _senml(self, settings: TopicSettings, names: Callable[[str], str | None]) -> Callable[[bytes, int], Decoded]:
        decode = decode_senml if settings.payload == "senml" else decode_senml_cbor
        return lambda payload, now: decode(payload, now, names, self._senml_doors, settings.unit)

    def _by_name(self, settings: TopicSettings, wildcards: tuple[str, ...]) -> Callable[[str], str | None]:
        template = settings.template()

        def point_of(name: str) -> str | None:
            point = settings.names.get(name) or template.fill(wildcards, name)
            return point if point in self._points else None

        return point_of


def _field(settings: TopicSettings, point: str) -> Field:
    return Field(
        point,
        Pointer(settings.value or ""),
        None if settings.time is None else Pointer(settings.time),
        settings.time_format,
        settings.unit,
        None if settings.unit_at is None else Pointer(settings.unit_at),
    )


def _read_clock(delivery: Delivery, payload: bytes, retained: bool) -> None:
    if retained:
        delivery.refusals.append(Refusal("retained without a time", "a clock that was played before"))
    elif _CLOCK.fullmatch(payload):
        delivery.clock = int(payload)
    else:
        delivery.refusals.append(Refusal("bad clock", f"{quote(payload)} is no whole number of ms"))
