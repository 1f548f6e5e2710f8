"""Which of the kernel's sensors are read? A table `[adapter.NAME]` of kind `sysfs`."""

from __future__ import annotations

from pathlib import Path
from typing import Self

from pydantic import Field, model_validator

from rules.durations import MINUTE, Duration
from rules.errors import SettingError
from rules.settings import Settings


class OneWireSettings(Settings):
    """A one-wire temperature probe."""

    point: str = Field(description="the point that the temperature is of")
    id: str = Field(pattern=r"^[0-9a-f]{2}-[0-9a-f]{12}$", description="its number, as in 28-0316a2795aff")
    every: Duration | None = Field(None, ge=100, description="left out, as often as the adapter says")


class IndustrialSettings(Settings):
    """A channel of a sensor of the kernel's industrial I/O."""

    point: str = Field(description="the point that the value is of")
    device: str = Field(
        pattern=r"^[^/]+$", description="what its file `name` says, or its folder, as in iio:device0, which may change"
    )
    channel: str = Field(pattern=r"^[a-z0-9_-]+$", description="as in temp, humidityrelative, voltage0")
    unit: str | None = Field(None, description="the unit after scale and offset, where the kernel names no unit")
    every: Duration | None = Field(None, ge=100, description="left out, as often as the adapter says")


class SysfsSettings(Settings):
    """The sensors, and where the kernel shows them."""

    root: Path = Field(Path("/sys"), description="another folder for trying things out")
    every: Duration = Field(MINUTE, ge=100, description="how often each sensor is read")
    one_wire: tuple[OneWireSettings, ...] = ()
    industrial: tuple[IndustrialSettings, ...] = ()

    @model_validator(mode="after")
    def _some(self) -> Self:
        if not self.one_wire and not self.industrial:
            raise SettingError("write at least one sensor, under one_wire or industrial")
        return self
