"""Which readings does one line carry? Pure: bytes in, readings and refusals out."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from adapters.checks import crc16, crc16_ccitt, xor8
from adapters.intake import judge_time
from adapters.payloads.decoded import Decoded, quote, refused
from adapters.payloads.doors import Doors
from adapters.payloads.json_fields import Field, decode_fields
from adapters.payloads.json_pointer import Pointer
from adapters.payloads.plain import decode_plain
from adapters.serial_line.settings import SerialLineSettings
from rules.errors import ValueRefused
from rules.plan import PointPlan

_SUMS: dict[str, tuple[int, Callable[[bytes], int]]] = {
    # name: (hexadecimal digits, the sum)
    "xor": (2, xor8),
    "crc16_modbus": (4, lambda data: crc16(data, 0xFFFF)),
    "crc16_arc": (4, crc16),
    "crc16_ccitt": (4, crc16_ccitt),
}


def checked(line: bytes, checksum: str) -> bytes:
    """What the line says without its sum: `$` before and `*` and the sum in hexadecimal after it are taken off.

    Raises ValueRefused where the sum is missing or wrong.
    """
    if checksum == "none":
        return line
    digits, total = _SUMS[checksum]
    said, star, written = line.strip().removeprefix(b"$").rpartition(b"*")
    if not star or len(written) != digits or not all(byte in b"0123456789abcdefABCDEF" for byte in written):
        raise ValueRefused(f"no * with {digits} hexadecimal digits at the end of {quote(line)}")
    found = total(said)
    if found != int(written, 16):
        raise ValueRefused(f"{quote(line)} should end in {found:0{digits}X}")
    return said


class LineDecoder:
    """Turns lines into readings, by the settings of one port."""

    def __init__(self, settings: SerialLineSettings, points: Mapping[str, PointPlan]) -> None:
        self._settings = settings
        self._doors = Doors(points)
        self._begins = settings.begins.encode()
        self._fields = [
            Field(one.point, Pointer(one.value), None if one.time is None else Pointer(one.time), one.time_format,
                  one.unit)
            for one in settings.fields
            if one.value is not None
        ]  # fmt: skip

    def decode(self, line: bytes, now: int | None) -> Decoded:
        """At least one reading or refusal of every line. now: ms UTC, to tell times that cannot be; None: not known."""
        try:
            said = checked(line, self._settings.checksum)
        except ValueRefused as error:
            return refused("bad checksum", str(error))
        if not said.startswith(self._begins):
            return refused("other line", f"{quote(line)} does not begin with {quote(self._settings.begins)}")
        said = said[len(self._begins) :]
        if self._settings.line == "json":
            return _believable(decode_fields(said, self._fields, self._doors), now)
        if self._settings.line == "number":
            field = self._settings.fields[0]
            return decode_plain(said, field.point, self._doors, field.unit)
        return self._csv(said) if self._settings.line == "csv" else self._pairs(said)

    def _csv(self, said: bytes) -> Decoded:
        columns = said.split(self._settings.separator.encode())
        wanted = self._settings.columns
        if wanted is not None and len(columns) != wanted:
            return refused("wrong number of columns", f"{len(columns)} instead of {wanted} in {quote(said)}")
        places = dict(enumerate(columns, start=1))
        return self._gather({one.point: places.get(one.at or 0) for one in self._settings.fields}, said)

    def _pairs(self, said: bytes) -> Decoded:
        assign = self._settings.assign.encode()
        pairs: dict[bytes, bytes] = {}
        for part in said.split(self._settings.separator.encode()):
            key, found, value = part.partition(assign)
            name = key.strip()
            if found and name in pairs:
                return refused("key stands twice", f"{quote(name)} in {quote(said)}")
            if found:
                pairs[name] = value
        return self._gather({one.point: pairs.get((one.key or "").encode()) for one in self._settings.fields}, said)

    def _gather(self, texts: Mapping[str, bytes | None], said: bytes) -> Decoded:
        decoded = Decoded()
        for one in self._settings.fields:
            text = texts[one.point]
            if text is None:
                decoded.refuse("no value", f"{one.point}: nothing in {quote(said)}")
                continue
            part = decode_plain(text, one.point, self._doors, one.unit)
            decoded.readings += part.readings
            decoded.refusals += part.refusals
            decoded.rounded += part.rounded
            decoded.coarse += part.coarse
        return decoded


def _believable(decoded: Decoded, now: int | None) -> Decoded:
    """Without the readings whose own time cannot be."""
    kept = []
    for reading in decoded.readings:
        cause = None if reading.time is None or now is None else judge_time(reading.time, now)
        if cause is None:
            kept.append(reading)
        else:
            decoded.refuse(cause, f"{reading.point}: a reading of {reading.time}")
    decoded.readings = kept
    return decoded
