"""Which readings does a message carry? Pure: topic and payload in, a delivery out."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from adapters.intake import OLDEST, Arrived, Delivery, Refusal, judge_time
from adapters.mqtt.settings import MqttSettings, TopicSettings
from adapters.mqtt.topics import TopicFilter
from adapters.payloads.decoded import Decoded, quote
from adapters.payloads.doors import Doors
from adapters.payloads.json_fields import Field, decode_fields
from adapters.payloads.json_pointer import Pointer
from adapters.payloads.plain import decode_plain
from adapters.payloads.senml import decode_senml
from adapters.payloads.senml_units import parse_senml_unit
from rules.plan import PointPlan

_REMEMBERED = 4096
"""Topics whose routes are remembered; a sender that makes up topics cannot fill the memory."""
_CLOCK = re.compile(rb"[0-9]{1,15}")


@dataclass(frozen=True, slots=True)
class _Route:
    """How the payloads of one topic are decoded."""

    plain: tuple[tuple[str, str | None], ...]
    fields: tuple[Field, ...]
    senml: tuple[tuple[Callable[[str], str | None], str | None], ...]


class Decoder:
    """Turns messages into deliveries, by the settings and the plan's points."""

    def __init__(self, name: str, settings: MqttSettings, points: Mapping[str, PointPlan]) -> None:
        self._name = name
        self._settings = settings
        self._points = points
        self._doors = Doors(points)
        self._senml_doors = Doors(points, parse_senml_unit)
        self._topics = [(TopicFilter(topic.topic), topic) for topic in settings.topics]
        self._routes: dict[str, _Route | None] = {}

    def decode(self, topic: str, payload: bytes, retained: bool, now: int) -> Delivery:
        """The readings of one message, and a refusal for whatever in it is none.

        retained: the broker kept it from before we subscribed; without a time of its own it is no reading then.
        now: ms UTC, for times relative to it and to tell impossible ones.
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
        route = self._route(topic)
        if route is None:
            delivery.refusals.append(Refusal("unknown topic", f"no topic of the settings names {quote(topic)}"))
            return delivery
        for point, unit in route.plain:
            self._take(delivery, decode_plain(payload, point, self._doors, unit), retained, now)
        if route.fields:
            self._take(delivery, decode_fields(payload, route.fields, self._doors), retained, now)
        for names, unit in route.senml:
            self._take(delivery, decode_senml(payload, now, names, self._senml_doors, unit), retained, now)
        return delivery

    def _take(self, into: Delivery, decoded: Decoded, retained: bool, now: int) -> None:
        into.refusals.extend(decoded.refusals)
        into.rounded += decoded.rounded
        for reading in decoded.readings:
            cause = self._judge(reading, retained, now)
            if cause is None:
                into.readings.append(reading)
            else:
                into.refusals.append(Refusal(cause, f"{reading.point}: a reading of {reading.time}"))

    def _judge(self, reading: Arrived, retained: bool, now: int) -> str | None:
        if reading.time is None:
            return "retained without a time" if retained else None
        # A played clock stands still between the player's ticks, while readings come dated after it.
        return judge_time(reading.time, now if self._settings.clock_topic is None else max(reading.time, OLDEST))

    def _route(self, topic: str) -> _Route | None:
        if topic not in self._routes:
            if len(self._routes) >= _REMEMBERED:
                self._routes.clear()
            self._routes[topic] = self._find(topic)
        return self._routes[topic]

    def _find(self, topic: str) -> _Route | None:
        plain: list[tuple[str, str | None]] = []
        fields: list[Field] = []
        senml: list[tuple[Callable[[str], str | None], str | None]] = []
        for pattern, settings in self._topics:
            wildcards = pattern.match(topic)
            if wildcards is None:
                continue
            if settings.payload == "senml":
                senml.append((self._by_name(settings, wildcards), settings.unit))
                continue
            point = settings.template().fill(wildcards)
            if settings.payload == "plain":
                plain.append((point, settings.unit))
            else:
                fields.append(
                    Field(
                        point,
                        Pointer(settings.value or ""),
                        None if settings.time is None else Pointer(settings.time),
                        settings.time_format,
                        settings.unit,
                        None if settings.unit_at is None else Pointer(settings.unit_at),
                    )
                )
        return _Route(tuple(plain), tuple(fields), tuple(senml)) if plain or fields or senml else None

    def _by_name(self, settings: TopicSettings, wildcards: tuple[str, ...]) -> Callable[[str], str | None]:
        template = settings.template()

        def point_of(name: str) -> str | None:
            point = settings.names.get(name) or template.fill(wildcards, name)
            return point if point in self._points else None

        return point_of


def _read_clock(delivery: Delivery, payload: bytes, retained: bool) -> None:
    if retained:
        delivery.refusals.append(Refusal("retained without a time", "a clock that was played before"))
    elif _CLOCK.fullmatch(payload):
        delivery.clock = int(payload)
    else:
        delivery.refusals.append(Refusal("bad clock", f"{quote(payload)} is no whole number of ms"))
