"""What does a board write on its serial port? A table `[adapter.NAME]` of kind `serial_line`."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from adapters.payloads.times import TimeFormat
from adapters.serial_port import PortSettings
from adapters.written import PointerText, UnitText
from rules.errors import SettingError
from rules.settings import Settings

Checksum = Literal["none", "xor", "crc16_modbus", "crc16_arc", "crc16_ccitt"]


class LineField(Settings):
    """Where one point's value stands in a line."""

    point: str = Field(description="the point that the value is of")
    at: int | None = Field(None, ge=1, le=1000, description="csv: the column, the first is 1")
    key: str | None = Field(None, min_length=1, description="pairs: what stands before the = sign")
    value: PointerText | None = Field(None, description="json: JSON Pointer to the value, as in /temperature")
    time: PointerText | None = Field(
        None, description="json: JSON Pointer to the time; without one it is dated on arrival"
    )
    time_format: TimeFormat = Field(TimeFormat.RFC3339, description="json: rfc3339, s or ms since 1970")
    unit: UnitText | None = Field(None, description="the board's unit, where it is not the point's")


_PLACE = {"number": None, "csv": "at", "pairs": "key", "json": "value"}


class SerialLineSettings(PortSettings):
    """The port, the pattern of its lines, and the points in them."""

    line: Literal["number", "csv", "pairs", "json"] = Field(
        "number", description="a number; columns; key=value; a JSON object"
    )
    begins: str = Field("", description="what each line begins with, as in TANK; other lines are refused and counted")
    separator: str = Field(",", min_length=1, description="csv and pairs: what stands between two values")
    assign: str = Field("=", min_length=1, description="pairs: what stands between key and value")
    columns: int | None = Field(
        None, ge=1, le=1000, description="csv: how many there must be, so that a line with one lost is seen"
    )
    checksum: Checksum = Field("none", description="of all before the *, a $ at the beginning left out")
    longest: int = Field(512, ge=8, le=65_536, description="bytes of a line at most")
    fields: tuple[LineField, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        wanted = _PLACE[self.line]
        if wanted is None and len(self.fields) > 1:
            raise SettingError('a line = "number" has one field; write line = "csv" where there are more')
        for one in self.fields:
            for key in ("at", "key", "value"):
                if (getattr(one, key) is not None) != (key == wanted):
                    mend = f"{wanted} says where it stands" if wanted else "it needs only the point"
                    raise SettingError(f'field of {one.point}: with line = "{self.line}" {mend}')
            if one.time is not None and self.line != "json":
                raise SettingError(f'field of {one.point}: time is for line = "json"')
            if self.columns is not None and one.at is not None and one.at > self.columns:
                raise SettingError(
                    f"field of {one.point}: column {one.at} of {self.columns} is not there; columns count from 1"
                )
        if self.columns is not None and self.line != "csv":
            raise SettingError('columns is for line = "csv"')
        return self
