"""What does a link hold that acknowledges one alarm for a while, and that nobody else can make?

A token is `NUMBER.END.MAC`: the number of the message that carried it and the second at which it ends, both in base 36,
and an HMAC-SHA-256 over these and the message's id, cut to 128 bits (RFC 2104 section 5 allows half a digest).
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
from typing import NamedTuple

_TOKEN = re.compile(r"([0-9a-z]{1,12})\.([0-9a-z]{1,9})\.([A-Za-z0-9_-]{22})", re.ASCII)
_DIGITS = "0123456789abcdefghijklmnopqrstuvwxyz"
_MAC_BYTES = 16


class Token(NamedTuple):
    """A token that has the right form. number: of the message; end: ms UTC."""

    number: int
    end: int
    mac: str

    def is_signed(self, key: bytes, message_id: str) -> bool:
        """Whether `key` signed it for that message."""
        return hmac.compare_digest(self.mac, _mac(key, self.number, self.end // 1000, message_id))


def make_token(key: bytes, number: int, message_id: str, end: int) -> str:
    """A token for the message of that number and id that ends at `end`, ms UTC."""
    second = end // 1000
    return f"{_base36(number)}.{_base36(second)}.{_mac(key, number, second, message_id)}"


def read_token(text: str) -> Token | None:
    """The parts of a token, not yet trusted; None for anything that is none."""
    found = _TOKEN.fullmatch(text)
    if found is None:
        return None
    number, second, mac = found.groups()
    return Token(int(number, 36), int(second, 36) * 1000, mac)


def _mac(key: bytes, number: int, second: int, message_id: str) -> str:
    signed = hmac.new(key, f"acknowledge\n{number}\n{second}\n{message_id}".encode(), hashlib.sha256).digest()
    return base64.urlsafe_b64encode(signed[:_MAC_BYTES]).rstrip(b"=").decode()


def _base36(number: int) -> str:
    text = ""
    while True:
        number, digit = divmod(number, 36)
        text = _DIGITS[digit] + text
        if not number:
            return text
