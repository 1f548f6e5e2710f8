"""Which settings say how the keeper is reached, and how the daemon watches itself?"""

from __future__ import annotations

import re

from pydantic import Field, field_validator, model_validator

from rules.durations import DAY, MINUTE, SECOND, Duration
from rules.errors import SettingError
from rules.people import PersonSettings
from rules.settings import Priority, Settings

_LISTEN = re.compile(r"(?:\[(?P<six>[0-9a-fA-F:]+)\]|(?P<host>[A-Za-z0-9.-]+)):(?P<port>\d{1,5})")
_BASE = re.compile(r"https?://[A-Za-z0-9.\-\[\]:]+(/[A-Za-z0-9._~/-]*)?")


class WebTable(Settings):
    """`[web]`: the endpoint at which the links of messages are answered."""

    listen: str | None = Field(default=None, description='where it listens, as in "127.0.0.1:8600"; left out: nowhere')
    link_base: str | None = Field(
        default=None, description='the address under which phones reach it, as in "https://home.example"'
    )
    link_valid: Duration = Field(default=DAY, ge=MINUTE, le=7 * DAY, description="how long a link works")

    @field_validator("listen")
    @classmethod
    def _is_place(cls, value: str | None) -> str | None:
        found = None if value is None else _LISTEN.fullmatch(value)
        if value is not None and (found is None or not 1 <= int(found["port"]) <= 65535):
            raise SettingError(f'{value} is no address and port; write it as "127.0.0.1:8600"')
        return value

    @field_validator("link_base")
    @classmethod
    def _is_base(cls, value: str | None) -> str | None:
        if value is not None and _BASE.fullmatch(value) is None:
            raise SettingError(f'{value} is no web address; write it as "https://home.example"')
        return value

    @model_validator(mode="after")
    def _fits_together(self) -> WebTable:
        if self.link_base is not None and self.listen is None:
            raise SettingError('link_base needs listen; write listen = "127.0.0.1:8600"')
        return self

    def place(self) -> tuple[str, int] | None:
        """Host and port to listen at."""
        found = None if self.listen is None else _LISTEN.fullmatch(self.listen)
        return None if found is None else (found["six"] or found["host"], int(found["port"]))


class SendingTable(Settings):
    """`[sending]`: how messages are sent and answered."""

    fold: bool = Field(default=True, description="tell several alarms that came and went while a link was down in one")
    fold_after: Duration = Field(default=10 * MINUTE, description="how old a message must be to be folded")
    broker: str | None = Field(
        default=None, description="the [adapter] of kind mqtt for answers and local ways; left out, the first"
    )
    ack_topic: str | None = Field(
        default=None,
        min_length=1,
        description="a rule's or message's id published here acknowledges; needs a broker with a login",
    )

    @field_validator("ack_topic")
    @classmethod
    def _is_topic(cls, value: str | None) -> str | None:
        if value is not None and re.search(r"[+#\0]", value):
            raise SettingError('ack_topic must name one topic, without + and #; write it as "tidebed/home/ack"')
        return value


class HeartbeatTable(Settings):
    """`[heartbeat]`: an address of the keeper's choice that is asked for as long as the daemon really watches."""

    every: Duration = Field(default=5 * MINUTE, ge=10 * SECOND, le=DAY)
    address: str = Field(
        default="heartbeat",
        pattern=r"^[a-z0-9_]+$",
        description="the name of the entry of [tokens] in the secrets that holds the web address",
    )


class SelfwatchTable(Settings):
    """`[selfwatch]`: what the daemon measures of itself, and from when on it is an alarm."""

    enabled: bool = True
    every: Duration = Field(default=MINUTE, ge=SECOND, le=10 * MINUTE, description="how often it measures")
    no_readings_after: Duration | None = Field(
        default=None,
        ge=SECOND,
        description="no reading at all for so long; left out, 1 to 5 min, so that it comes before single silent points",
    )
    clock_jump: Duration = Field(default=2 * SECOND, ge=100, description="the board's clock jumped by more")
    disk_free: float = Field(default=5.0, gt=0, lt=100, description="per cent of the store's disk that must be free")
    unsent_after: Duration = Field(default=5 * MINUTE, ge=SECOND, description="a critical message waits for longer")
    slow_commit: Duration = Field(default=5 * SECOND, ge=10, description="writing to the store takes longer")
    restarts: int = Field(default=3, ge=1, le=1000, description="the daemon starts again more often within a day")
    board_hot: float = Field(default=80.0, gt=0, lt=150, description="°C above which the board's processor is too hot")
    without: tuple[str, ...] = Field(default=(), description="built-in rules that are left out, as in tidebed.disk")
    priorities: dict[str, Priority] = Field(default={}, description="other priorities of built-in rules")


class PersonTable(PersonSettings):
    """`[[person]]`: who is told, with what concerns the sending alone."""

    next_way_after: Duration | None = Field(
        default=None,
        description="the ways stand in for each other: the next is used when those before it were refused or have "
        "not worked for so long; left out, all are used at once",
    )
