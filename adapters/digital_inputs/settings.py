"""Which lines of a board are watched? A table `[adapter.NAME]` of kind `digital_inputs`."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal, Self

from pydantic import Field, model_validator

from rules.durations import SECOND, Duration
from rules.errors import SettingError
from rules.settings import Settings


class LineSettings(Settings):
    """One line: a float switch, a relay's contact, or the pulses of a flow meter."""

    point: str = Field(description="the point that the line feeds")
    line: int = Field(ge=0, le=1023, description="its number on the chip")
    use: Literal["state", "pulses"] = Field("state", description="state: 0 or 1; pulses: counted into a flow")
    pulses_per_litre: Decimal | None = Field(None, gt=0, le=1_000_000, description="the meter's factor, for pulses")
    pull: Literal["up", "down", "none"] = "none"
    active_low: bool = Field(False, description="a closed contact to ground counts as 1")
    debounce: Duration = Field(0, le=SECOND, description="changes shorter than this are not counted")

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if (self.use == "pulses") != (self.pulses_per_litre is not None):
            raise SettingError(
                f'{self.point}: use = "pulses" and pulses_per_litre belong together; write both or neither'
            )
        return self


class DigitalInputsSettings(Settings):
    """The chip and its lines."""

    chip: str = Field("/dev/gpiochip0", min_length=1)
    every: Duration = Field(10 * SECOND, ge=100, description="how often states are read and pulses made a flow")
    lines: tuple[LineSettings, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        numbers = [line.line for line in self.lines]
        if len(set(numbers)) != len(numbers):
            raise SettingError("a line stands twice")
        return self
