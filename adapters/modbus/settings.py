"""Which registers of which Modbus devices are read? A table `[adapter.NAME]` of kind `modbus`."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal, Self

from pydantic import Field, model_validator

from adapters.serial_port import Framing
from adapters.written import UnitText
from rules.durations import SECOND, Duration
from rules.errors import SettingError
from rules.settings import Settings

WIDTH = {"int16": 1, "uint16": 1, "int32": 2, "uint32": 2, "float32": 2}
"""Registers that a value takes."""


class RegisterSettings(Settings):
    """One value: where it stands and how it is written there."""

    point: str = Field(description="the point that the value is of")
    unit_id: int = Field(1, ge=1, le=247, description="the device's number on the line")
    table: Literal["holding", "input"] = "holding"
    address: int = Field(ge=0, le=65535, description="as on the wire, from 0; 40001 or 30001 in a manual is 0 here")
    type: Literal["int16", "uint16", "int32", "uint32", "float32"] = "int16"
    words: Literal["high_first", "low_first"] = Field("high_first", description="order of the two registers of 32 bits")
    bytes: Literal["high_first", "low_first"] = Field("high_first", description="order of the two bytes of a register")
    scale: Decimal = Field(Decimal(1), description="the value is what stands there times this, plus offset")
    offset: Decimal = Field(Decimal(0), description="in the device's unit")
    missing: int | None = Field(None, description="the whole number by which the device says that it has no value")
    unit: UnitText | None = Field(None, description="the unit after scale and offset, where it is not the point's")
    every: Duration | None = Field(None, ge=50, description="left out, as often as the adapter says")

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.address + WIDTH[self.type] > 65536:
            raise SettingError(f"{self.point}: no second register follows {self.address}")
        if not (self.scale.is_finite() and self.offset.is_finite()) or not self.scale:
            raise SettingError(
                f"{self.point}: scale or offset is none, or scale is 0; write numbers, as in scale = 0.1"
            )
        return self


class ModbusSettings(Settings):
    """The way to the devices, and the registers."""

    host: str | None = Field(None, min_length=1, description="name or address, for TCP")
    tcp_port: int = Field(502, ge=1, le=65535)
    port: str | None = Field(None, min_length=1, description="serial port, for RTU; best by /dev/serial/by-id/")
    baud: int = Field(9600, ge=50, le=4_000_000)
    framing: Framing = "8N1"
    every: Duration = Field(10 * SECOND, ge=50, description="how often registers are read")
    answer_within: Duration = Field(SECOND, ge=20, le=30 * SECOND, description="how long a device may take")
    gap: int = Field(0, ge=0, le=100, description="registers nobody wants that may be read along in one request")
    registers: tuple[RegisterSettings, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if (self.host is None) == (self.port is None):
            raise SettingError(
                "it has both a host and a port, or neither; write host for TCP or port for a serial line"
            )
        return self
