"""How is the connection to a message broker set up? The table [adapter.mqtt] of the site file."""

from __future__ import annotations

import ipaddress
import os
from pathlib import Path
from typing import Any, Literal, Self

from pydantic import Field, field_validator, model_validator

from adapters.mqtt.topics import PointTemplate, TopicFilter
from adapters.payloads.decoded import LARGEST_PAYLOAD
from adapters.payloads.times import TimeFormat
from adapters.written import PointerText, UnitText
from rules.durations import DAY, MINUTE, Duration
from rules.errors import SettingError
from rules.settings import Settings


class TopicSettings(Settings):
    """What the messages under a topic filter carry. A filter may stand several times, once a point."""

    topic: str = Field(description="topic filter, as in house/+/temperature")
    payload: Literal["plain", "json", "senml", "senml_cbor"] = Field(
        "plain", description="a number; JSON; SenML in JSON; SenML in CBOR"
    )
    point: str | None = Field(
        None, description="the point; {1}, {2} are what + and # stand for, {name} a SenML name (the default for SenML)"
    )
    names: dict[str, str] = Field({}, description="SenML name -> point, where they are not the same")
    value: PointerText | None = Field(None, description="JSON Pointer to the value, as in /temperature")
    time: PointerText | None = Field(
        None, description="JSON Pointer to the time; without one the message is dated on arrival"
    )
    time_format: TimeFormat = Field(TimeFormat.RFC3339, description="rfc3339, s or ms since 1970")
    unit: UnitText | None = Field(None, description="the sender's unit, where it is not the point's")
    unit_at: PointerText | None = Field(None, description="JSON Pointer to the unit")
    each: PointerText | None = Field(
        None, description="JSON Pointer to an array; the other pointers count from each of its elements"
    )
    dated: Literal["sender", "arrival"] = Field(
        "sender", description="arrival: the sender's clock is not believed, and its times are not used"
    )
    retained_within: Duration | None = Field(
        None, description="a message that the broker had kept counts if its own time is no older; left out, always"
    )
    alive: str | None = Field(
        None,
        description="topic that tells whether a device that sends only changes is there (its birth and last will); "
        "while it is, its last value is repeated as often as the point expects one",
    )
    alive_words: tuple[str, ...] = Field(
        ("online", "1", "true", "connected", "alive"), description="what stands on the alive topic of a device there"
    )

    @field_validator("topic")
    @classmethod
    def _is_filter(cls, value: str) -> str:
        TopicFilter(value)
        return value

    @field_validator("alive")
    @classmethod
    def _is_one_topic(cls, value: str | None) -> str | None:
        if value is not None and TopicFilter(value).wildcards:
            raise SettingError(f"alive {value!r} must name one topic, without + and #")
        return value

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        for key in ("value", "time", "unit_at", "each"):
            if getattr(self, key) is not None and self.payload != "json":
                raise SettingError(f'{key} is for payload = "json"; topic {self.topic} is {self.payload}')
        if self.payload == "json" and self.value is None:
            raise SettingError(
                f'topic {self.topic}: json has no value; write where it stands, as in value = "/temperature"'
            )
        if not self.is_senml and self.names:
            raise SettingError(f'names is for payload = "senml"; topic {self.topic} is {self.payload}')
        if not self.is_senml and self.point is None:
            mend = 'write point = "tank.temperature", or with {1} for a level of the topic'
            raise SettingError(f"topic {self.topic}: point is missing; {mend}")
        self.template()
        return self

    def template(self) -> PointTemplate:
        """The point's name, to be filled."""
        return PointTemplate(self.point or "{name}", TopicFilter(self.topic).wildcards, named=self.is_senml)

    @property
    def is_senml(self) -> bool:
        """Whether names stand in the payload."""
        return self.payload.startswith("senml")

    def named_points(self) -> list[str]:
        """The points that are named outright, so that a site file can be checked against its points."""
        outright = [] if self.template().filled or self.point is None else [self.point]
        return outright + list(self.names.values())


class MqttSettings(Settings):
    """The connection, and the topics that are read."""

    host: str = Field("localhost", min_length=1, description="name or address of the broker")
    port: int | None = Field(None, ge=1, le=65535, description="1883, or 8883 with TLS, unless it is given")
    protocol: Literal["auto", "5", "3.1.1"] = Field("auto", description="auto: MQTT 5, and 3.1.1 where that is refused")
    tls: bool = False
    ca_file: Path | None = Field(None, description="certificates to trust, in PEM; without it the system's")
    username: str | None = None
    password_file: Path | None = Field(None, description="a file that holds the password alone")
    password_env: str | None = Field(None, description="the environment variable that holds the password")
    client_id: str | None = Field(None, min_length=1, description="one a daemon; the broker keeps the session by it")
    keepalive: Duration = MINUTE
    session_expiry: Duration = Field(7 * DAY, description="how long the broker keeps what it has for us (MQTT 5)")
    max_payload: int = Field(LARGEST_PAYLOAD, ge=16, le=4_194_304, description="bytes; longer ones are refused")
    clock_topic: str | None = Field(None, description="where a player publishes a played clock; loopback hosts only")
    topics: tuple[TopicSettings, ...] = Field(min_length=1)

    @model_validator(mode="before")
    @classmethod
    def _hide_secret(cls, data: Any) -> Any:
        # The key is refused like any that is not known (password_file and password_env are near), but what stands
        # there must not be shown by whoever tells of it.
        if isinstance(data, dict) and "password" in data:
            return data | {"password": "(hidden)"}
        return data

    @field_validator("keepalive")
    @classmethod
    def _keepalive_fits(cls, value: int) -> int:
        if not 5_000 <= value <= 65_535_000:
            raise SettingError('keepalive must lie between "5 s" and "65535 s"')
        return value

    @field_validator("clock_topic")
    @classmethod
    def _is_topic(cls, value: str | None) -> str | None:
        if value is not None and TopicFilter(value).wildcards:
            raise SettingError(f"clock_topic {value!r} must name one topic, without + and #")
        return value

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if self.clock_topic is not None and not self.is_loopback():
            raise SettingError(f"clock_topic is only for a broker on this machine; host is {self.host}")
        if self.password_file is not None and self.password_env is not None:
            raise SettingError("write password_file or password_env, not both")
        if self.username is None and (self.password_file is not None or self.password_env is not None):
            raise SettingError("a password needs a username; write username = ...")
        if self.ca_file is not None and not self.tls:
            raise SettingError("ca_file needs tls = true")
        return self

    @property
    def used_port(self) -> int:
        """The port that is connected to."""
        return self.port or (8883 if self.tls else 1883)

    def is_loopback(self) -> bool:
        """Whether the broker runs on this machine, by its name or address alone."""
        try:
            return ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return self.host == "localhost"

    def password(self) -> str | None:
        """The password from its file or variable; raises SettingError where it is not there."""
        if self.password_env is not None:
            found = os.environ.get(self.password_env)
            if found is None:
                raise SettingError(f"the environment has no {self.password_env}, which password_env names")
            return found
        if self.password_file is not None:
            try:
                return self.password_file.read_text(encoding="utf-8").rstrip("\r\n")
            except (OSError, UnicodeDecodeError) as error:
                raise SettingError(f"password_file {self.password_file} cannot be read: {error}") from None
        return None

    def named_points(self) -> list[str]:
        """The points that the topics name outright."""
        return [point for topic in self.topics for point in topic.named_points()]
