"""What does a probe's reply say? Pure parsers of SDI-12 version 1.4, section 4.4."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import NamedTuple

from adapters.checks import crc16
from adapters.payloads.decoded import quote
from rules.errors import TidebedError

ADDRESS = r"[0-9A-Za-z]"
_ADDRESS = re.compile(rb"[0-9A-Za-z]")
_VALUES = re.compile(rb"(?:[+-][0-9.]{1,8})*")
_VALUE = re.compile(rb"[+-](?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_MOST_DIGITS = 7
_MEANING = re.compile(rb",([^,;]{0,40})(?:,([^,;]{0,20}))?(?:,[^;]{0,75})?;")
_MEASURING = re.compile(rb"([0-9]{3})([0-9]{1,3})")


class ReplyRefused(TidebedError):
    """A reply that cannot be used. `cause`: a short fixed word to count by."""

    def __init__(self, cause: str, detail: str) -> None:
        super().__init__(f"{cause}: {detail}")
        self.cause = cause
        self.detail = detail


class Identity(NamedTuple):
    """What a probe says of itself (aI!): SDI-12 version as in "14", maker, model, firmware, perhaps a serial number."""

    version: str
    maker: str
    model: str
    firmware: str
    more: str

    def __str__(self) -> str:
        return " ".join(part for part in self[1:] if part)


def crc_text(said: bytes) -> bytes:
    """The three characters that follow `said` where a CRC was asked for (section 4.4.12)."""
    value = crc16(said)
    return bytes((0x40 | value >> 12, 0x40 | value >> 6 & 0x3F, 0x40 | value & 0x3F))


def body(line: bytes, address: str, *, crc: bool = False) -> bytes:
    """What stands between the address and the line's end, its CRC checked and taken off where there should be one.

    Raises ReplyRefused: `no answer`, `broken reply`, `bad checksum`, `other address`.
    """
    if not line:
        raise ReplyRefused("no answer", f"nothing from address {address}")
    if not line.endswith(b"\r\n"):
        raise ReplyRefused("broken reply", f"{quote(line)} does not end in CR LF")
    said = line[:-2]  # not strip(): a CRC may end in DEL, and none of its characters is a blank by chance
    if crc:
        if len(said) < 4 or crc_text(said[:-3]) != said[-3:]:
            raise ReplyRefused("bad checksum", f"{quote(line)} from address {address}")
        said = said[:-3]
    if said[:1] != address.encode("ascii"):
        raise ReplyRefused("other address", f"{quote(line)} instead of an answer from address {address}")
    return said[1:]


def parse_address(line: bytes) -> str:
    """The address in the answer to ?! or a!; raises ReplyRefused (two probes that answer at once give noise)."""
    said = line.removesuffix(b"\r\n")
    if not line.endswith(b"\r\n") or not _ADDRESS.fullmatch(said):
        raise ReplyRefused("broken reply" if line else "no answer", f"{quote(line)} is no address")
    return said.decode("ascii")


def parse_identity(said: bytes) -> Identity:
    """The identification: 2 characters of version, 8 of maker, 6 of model, 3 of firmware, at most 13 more."""
    if not 19 <= len(said) <= 32 or not all(32 <= byte < 127 for byte in said) or not said[:2].isdigit():
        raise ReplyRefused("broken reply", f"{quote(said)} is no identification")
    text = said.decode("ascii")
    return Identity(text[:2], text[2:10].strip(), text[10:16].strip(), text[16:19].strip(), text[19:].strip())


def parse_measuring(said: bytes) -> tuple[int, int]:
    """(seconds until the values are ready, how many there will be) of the answer to aM! or aC!."""
    found = _MEASURING.fullmatch(said)
    if found is None:
        raise ReplyRefused("broken reply", f"{quote(said)} does not say how long and how many")
    return int(found[1]), int(found[2])


def parse_meaning(said: bytes) -> tuple[str, str]:
    """(short name, unit) of the answer to aIM_001!: fields after commas, a semicolon at the end (form from memory)."""
    found = _MEANING.fullmatch(said)
    if found is None or not said.isascii():
        raise ReplyRefused("broken reply", f"{quote(said)} does not say what a value means")
    return found[1].decode("ascii").strip(), (found[2] or b"").decode("ascii").strip()


def parse_values(said: bytes) -> list[Decimal]:
    """The values of the answer to aD0! or aR0!, in order; none where the probe has none.

    A value is a sign, at most seven digits, and perhaps a decimal point among or after them.
    """
    if not _VALUES.fullmatch(said):
        raise ReplyRefused("broken reply", f"{quote(said)} are no values")
    values = []
    for part in re.split(rb"(?=[+-])", said):
        if not part:
            continue
        digits = sum(48 <= byte < 58 for byte in part)
        if not _VALUE.fullmatch(part) or digits > _MOST_DIGITS:
            raise ReplyRefused("broken reply", f"{quote(part)} in {quote(said)} is no value")
        values.append(Decimal(part.decode("ascii")))
    return values
