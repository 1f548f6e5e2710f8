"""What does a CBOR item say? Bounded, with every number as the decimal that was meant (RFC 8949)."""

from __future__ import annotations

import struct
from decimal import Context, Decimal, InvalidOperation

import numpy as np

from rules.errors import ValueRefused

DEEPEST = 16
MOST_ITEMS = 20_000
_LARGEST_EXPONENT = 400
_EXACT = Context(prec=60)
_SIMPLE: dict[int, object] = {20: False, 21: True, 22: None, 23: None}
_DECIMAL_FRACTION = 4
_BREAK = object()


def parse_cbor(data: bytes) -> object:
    """The one item in `data`: dict, list, str, bytes, bool, None, and Decimal for every number.

    Floats count as the shortest decimal that means them in their own width; decimal fractions (tag 4) are exact;
    other tags are passed over. Raises ValueRefused for anything that is not one well-formed item, that is nested
    deeper than DEEPEST, or that has more than MOST_ITEMS parts.
    """
    reader = _Reader(data)
    item = reader.item(0)
    if item is _BREAK or reader.at != len(data):
        raise ValueRefused(f"not one CBOR item: it ends at byte {reader.at} of {len(data)}")
    return item


class _Reader:
    def __init__(self, data: bytes) -> None:
        self._data = data
        self.at = 0
        self._left = MOST_ITEMS

    def item(self, depth: int) -> object:
        self._left -= 1
        if depth > DEEPEST or self._left < 0:
            raise ValueRefused("nested too deep" if depth > DEEPEST else "too many items")
        first = self._bytes(1)[0]
        major, info = first >> 5, first & 31
        if major == 7:
            return self._simple(info)
        length = self._length(info, endless=major in (2, 3, 4, 5))
        if major in (0, 1):
            return Decimal(length or 0) if major == 0 else Decimal(-1 - (length or 0))
        if major in (2, 3):
            raw = self._chunks(major) if length is None else self._bytes(length)
            return raw if major == 2 else _text(raw)
        if major == 4:
            return self._list(length, depth)
        if major == 5:
            return self._dict(length, depth)
        inner = self.item(depth + 1)
        return _decimal_fraction(inner) if length == _DECIMAL_FRACTION else inner

    def _bytes(self, count: int) -> bytes:
        taken = self._data[self.at : self.at + count]
        if len(taken) != count:
            raise ValueRefused(f"broken off at byte {len(self._data)}")
        self.at += count
        return taken

    def _length(self, info: int, *, endless: bool) -> int | None:
        """The number in or after the first byte; None where the length is told by a break at the end."""
        if info < 24:
            return info
        if info <= 27:
            return int.from_bytes(self._bytes(1 << (info - 24)), "big")
        if info == 31 and endless:
            return None
        raise ValueRefused(f"no CBOR at byte {self.at - 1}")

    def _simple(self, info: int) -> object:
        if info in _SIMPLE:
            return _SIMPLE[info]
        if info == 25:
            half = np.frombuffer(self._bytes(2), ">f2")[0]
            # The shortest text of a large half has fewer digits than the whole number that was meant.
            return Decimal(int(half)) if float(half).is_integer() else Decimal(str(half))
        if info == 26:
            return Decimal(str(np.float32(struct.unpack(">f", self._bytes(4))[0])))
        if info == 27:
            return Decimal(repr(struct.unpack(">d", self._bytes(8))[0]))
        if info == 31:
            return _BREAK
        raise ValueRefused(f"a simple value {info} means nothing here")

    def _chunks(self, major: int) -> bytes:
        parts = []
        while (first := self._bytes(1)[0]) != 0xFF:
            length = self._length(first & 31, endless=False)
            self._left -= 1
            if first >> 5 != major or length is None or self._left < 0:
                raise ValueRefused(f"a part of another kind at byte {self.at}")
            parts.append(self._bytes(length))
        return b"".join(parts)

    def _list(self, length: int | None, depth: int) -> list[object]:
        found: list[object] = []
        while length is None or len(found) < length:
            item = self.item(depth + 1)
            if item is _BREAK:
                if length is None:
                    break
                raise ValueRefused(f"a break where there is none, at byte {self.at}")
            found.append(item)
        return found

    def _dict(self, length: int | None, depth: int) -> dict[object, object]:
        found: dict[object, object] = {}
        count = 0
        while length is None or count < length:
            key = self.item(depth + 1)
            if key is _BREAK and length is None:
                break
            value = self.item(depth + 1)
            if not isinstance(key, str | Decimal) or value is _BREAK or key in found:
                raise ValueRefused(f"a key that is none, or stands twice, before byte {self.at}")
            found[key] = value
            count += 1
        return found


def _text(raw: bytes) -> str:
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        raise ValueRefused("a text that is not UTF-8") from None


def _decimal_fraction(item: object) -> Decimal:
    """`[exponent, mantissa]`: mantissa * 10 ** exponent (section 3.4.4)."""
    match item:
        case [Decimal() as exponent, Decimal() as mantissa] if (
            exponent == exponent.to_integral_value() and abs(exponent) <= _LARGEST_EXPONENT
        ):
            try:
                return mantissa.scaleb(int(exponent), _EXACT)
            except InvalidOperation:
                pass
    raise ValueRefused("a decimal fraction that is none")
