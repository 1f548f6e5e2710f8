"""What do registers say, and which are read together? Pure."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from decimal import Context, Decimal
from typing import NamedTuple

import numpy as np

from adapters.modbus.settings import WIDTH, RegisterSettings
from rules.errors import ValueRefused

LARGEST_READ = 125
"""Registers in one request (MODBUS Application Protocol V1.1b3, section 6.3)."""
_FORMATS = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}
_EXACT = Context(prec=60)


class Request(NamedTuple):
    """One request: registers `address` to `address + size - 1` of a table of a device, every so many ms."""

    unit_id: int
    table: str
    every: int
    address: int
    size: int
    wanted: tuple[RegisterSettings, ...]


def grouped(registers: Iterable[RegisterSettings], every: int, gap: int) -> list[Request]:
    """The fewest requests that read each of `registers`, with at most `gap` unwanted registers between two wanted.

    every: ms, for those that name no interval of their own.
    """
    requests: list[Request] = []
    order = sorted(registers, key=lambda one: (one.unit_id, one.table, one.every or every, one.address))
    for one in order:
        end = one.address + WIDTH[one.type]
        last = requests[-1] if requests else None
        if (
            last is not None
            and last[:3] == (one.unit_id, one.table, one.every or every)
            and one.address - (last.address + last.size) <= gap
            and end - last.address <= LARGEST_READ
        ):
            size = max(last.size, end - last.address)
            requests[-1] = last._replace(size=size, wanted=(*last.wanted, one))
        else:
            wanted = (one,)
            requests.append(Request(one.unit_id, one.table, one.every or every, one.address, end - one.address, wanted))
    return requests


def value_of(words: Sequence[int], one: RegisterSettings) -> Decimal | None:
    """The value in 16-bit `words` (1 or 2, as read from the lowest address up), or None where the device has none.

    value = raw * scale + offset, in decimals; a float32 counts as the shortest decimal that means it.
    Raises ValueRefused for a number that is not finite or words that are none.
    """
    if len(words) != WIDTH[one.type] or not all(0 <= word <= 0xFFFF for word in words):
        raise ValueRefused(f"{list(words)} is no {one.type}")
    ordered = words if one.words == "high_first" else words[::-1]
    raw = b"".join(word.to_bytes(2, "big" if one.bytes == "high_first" else "little") for word in ordered)
    (number,) = struct.unpack(_FORMATS[one.type], raw)
    if one.missing is not None and number == one.missing:
        return None
    read = Decimal(str(np.float32(number))) if one.type == "float32" else Decimal(number)
    if not read.is_finite():
        raise ValueRefused(f"{number} is not a finite number")
    return _EXACT.add(_EXACT.multiply(read, one.scale), one.offset)
