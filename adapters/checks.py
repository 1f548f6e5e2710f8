"""Do the check digits of a line or frame agree with what stands before them? The sums that field protocols use."""

from __future__ import annotations

from functools import reduce
from operator import xor


def _table(polynomial: int) -> tuple[int, ...]:
    """The effect of each byte on a reflected sum."""
    table = []
    for byte in range(256):
        for _ in range(8):
            byte = byte >> 1 ^ (polynomial if byte & 1 else 0)
        table.append(byte)
    return tuple(table)


_CRC16 = _table(0xA001)
_CRC8 = _table(0x8C)


def crc16(data: bytes, start: int = 0) -> int:
    """CRC-16 of the reflected polynomial 0xA001: SDI-12 begins with 0, Modbus with 0xFFFF."""
    value = start
    for byte in data:
        value = value >> 8 ^ _CRC16[(value ^ byte) & 0xFF]
    return value


def crc16_ccitt(data: bytes) -> int:
    """CRC-16 of the polynomial 0x1021, not reflected, beginning with 0xFFFF ("CCITT-FALSE" in catalogues)."""
    value = 0xFFFF
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = (value << 1 ^ 0x1021) & 0xFFFF if value & 0x8000 else value << 1
    return value


def crc8(data: bytes) -> int:
    """CRC-8 of one-wire devices: the reflected polynomial 0x8C, beginning with 0."""
    value = 0
    for byte in data:
        value = _CRC8[value ^ byte]
    return value


def xor8(data: bytes) -> int:
    """All bytes joined by exclusive or, as in the sentences of marine instruments (NMEA 0183)."""
    return reduce(xor, data, 0)
