"""Which probes are on an SDI-12 bus? A table `[adapter.NAME]` of kind `sdi12`."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from adapters.sdi12.replies import ADDRESS
from adapters.serial_port import Framing, PortSettings
from adapters.written import UnitText
from rules.durations import MINUTE, SECOND, Duration
from rules.errors import SettingError
from rules.settings import Settings


class ProbeValue(Settings):
    """One of the values that a probe sends."""

    point: str = Field(description="the point that the value is of")
    at: int = Field(ge=1, le=999, description="which of the probe's values; the first is 1")
    unit: UnitText | None = Field(None, description="the probe's unit, where it is not the point's")


class ProbeSettings(Settings):
    """One probe, and how it is asked."""

    address: str = Field(pattern=f"^{ADDRESS}$", description="a digit or letter")
    command: str = Field(
        "MC",
        pattern=r"^(M|MC|C|CC)[1-9]?$|^(R|RC)[0-9]$",
        description="M measure, C measure beside others, R continuous; with C after it the reply carries a CRC",
    )
    every: Duration | None = Field(None, ge=100, description="left out, as often as the bus says")
    is_: str | None = Field(
        None, alias="is", min_length=1, description="part of what the probe says of itself; another is not listened to"
    )
    values: tuple[ProbeValue, ...] = Field(min_length=1)

    @property
    def kind(self) -> str:
        """M, C or R."""
        return self.command[0]

    @property
    def crc(self) -> bool:
        """Whether replies carry a CRC."""
        return self.command[1:2] == "C"


class Sdi12Settings(PortSettings):
    """The port of the bus's adaptor, and the probes."""

    baud: int = Field(1200, ge=50, le=4_000_000, description="1200 on the bus; an adaptor may have its own")
    framing: Framing = Field("7E1", description="7E1 on the bus; an adaptor may have its own")
    wake: bool = Field(True, description="send the break that wakes probes; off where the adaptor does it")
    every: Duration = Field(5 * MINUTE, ge=100, description="how often each probe is asked")
    answer_within: Duration = Field(SECOND, ge=20, le=10 * SECOND, description="how long a reply may take")
    retries: int = Field(3, ge=0, le=10, description="how often a command is sent again")
    probes: tuple[ProbeSettings, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        seen: set[tuple[str, str]] = set()
        for probe in self.probes:
            key = (probe.address, probe.command)
            if key in seen:
                raise SettingError(f"address {probe.address} stands twice with command {probe.command}")
            seen.add(key)
        return self
