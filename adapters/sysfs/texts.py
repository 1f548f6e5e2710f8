"""What do the kernel's texts say? Pure: the text of a one-wire probe, and the attributes of an industrial I/O channel.

The form of `w1_slave` is that of the kernel's Documentation/w1/slaves/w1_therm; attributes and their units are those of
its Documentation/ABI/testing/sysfs-bus-iio (units from memory).
"""

from __future__ import annotations

import re
from decimal import Context, Decimal, InvalidOperation

from adapters.checks import crc8
from adapters.payloads.decoded import quote
from rules.errors import TidebedError
from rules.flags import Flag

POWER_ON = 85_000
"""Thousandths of a degree that a probe shows before it has measured anything."""
_COLDEST, _HOTTEST = -55_000, 125_000
_FIRST = re.compile(r"((?:[0-9a-f]{2} ){9}): crc=([0-9a-f]{2}) (YES|NO)")
_SECOND = re.compile(r"((?:[0-9a-f]{2} ){9})t=(-?[0-9]{1,7})")
_NUMBER = re.compile(r"[+-]?[0-9]{1,19}(?:\.[0-9]{1,19})?(?:e[+-]?[0-9]{1,2})?")
_EXACT = Context(prec=60)

UNITS: dict[str, tuple[str, Decimal]] = {
    # kind of channel: (unit, what one of the kernel's units is in it)
    "temp": ("degC", Decimal("0.001")),
    "humidityrelative": ("%", Decimal("0.001")),
    "pressure": ("kPa", Decimal(1)),
    "voltage": ("mV", Decimal(1)),
    "current": ("mA", Decimal(1)),
    "illuminance": ("lx", Decimal(1)),
    "power": ("W", Decimal("0.001")),
    "ph": ("pH", Decimal(1)),
    "electricalconductivity": ("S/m", Decimal(1)),
}


class TextRefused(TidebedError):
    """A text that holds no usable value. `cause`: a short fixed word to count by."""

    def __init__(self, cause: str, detail: str) -> None:
        super().__init__(f"{cause}: {detail}")
        self.cause = cause
        self.detail = detail


def one_wire_temperature(text: str) -> tuple[Decimal, Flag]:
    """(degC, flag) of the text of `w1_slave`; the flag is suspect at the value that a probe has when switched on.

    Raises TextRefused: a bad or missing checksum (the `t=` of such a text is that of an earlier reading), a bus that
    is shorted or open (all zeros, all ones), a value outside -55 to 125 degC (127.937 is a failed conversion).
    """
    lines = text.splitlines()
    first = _FIRST.fullmatch(lines[0]) if len(lines) == 2 else None
    second = _SECOND.fullmatch(lines[1]) if first is not None else None
    if first is None or second is None:
        raise TextRefused("not a reading" if text.strip() else "empty", quote(text))
    data = bytes.fromhex(first[1])
    if first[3] != "YES" or crc8(data[:8]) != data[8] or data[8] != int(first[2], 16):
        raise TextRefused("bad checksum", quote(lines[0]))
    if not any(data):
        raise TextRefused("probe shorted", "all bytes are zero, which has a right checksum by chance")
    if bytes.fromhex(second[1]) != data:
        raise TextRefused("not a reading", f"the two lines differ: {quote(text)}")
    return _temperature(int(second[2]))


def plain_temperature(text: str) -> tuple[Decimal, Flag]:
    """(degC, flag) of the text of `temperature`, which newer kernels have checked themselves."""
    found = text.strip()
    if not re.fullmatch(r"-?[0-9]{1,7}", found):
        raise TextRefused("not a reading" if found else "empty", quote(text))
    return _temperature(int(found))


def _temperature(thousandths: int) -> tuple[Decimal, Flag]:
    if not _COLDEST <= thousandths <= _HOTTEST:
        raise TextRefused("conversion failed", f"{thousandths / 1000} degC is out of the probe's range")
    flag = Flag.SUSPECT if thousandths == POWER_ON else Flag.NOT_EVALUATED
    return Decimal(thousandths).scaleb(-3), flag


def number(text: str) -> Decimal:
    """The number that an attribute holds; raises TextRefused."""
    found = text.strip()
    try:
        if _NUMBER.fullmatch(found):
            return Decimal(found)
    except InvalidOperation:
        pass
    raise TextRefused("not a number" if found else "empty", quote(text))


def channel_value(value: Decimal, offset: Decimal, scale: Decimal) -> Decimal:
    """`(raw + offset) * scale`, exactly."""
    return _EXACT.multiply(_EXACT.add(value, offset), scale)


def kind_of(channel: str) -> str:
    """`voltage` of `voltage0`, `temp` of `temp_ambient`, `concentration` of `concentration_co2`."""
    return re.sub(r"[0-9]+$", "", channel.partition("_")[0].partition("-")[0])
