"""Which reading does a payload carry that is nothing but a number?"""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation

from adapters.payloads.decoded import Decoded, quote, refused
from adapters.payloads.doors import Doors

_NUMBER = re.compile(rb"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_WORDS: dict[bytes, bool | None] = {b"true": True, b"false": False, b"null": None}


def decode_plain(payload: bytes, point: str, doors: Doors, unit: str | None = None) -> Decoded:
    """The reading, without a time, of a decimal number in ASCII (blanks around it do not matter).

    `true` and `false` are 1 and 0 at a state point, `null` is a missing reading; all else is refused.
    unit: the sender's unit; None: the point's own.
    """
    text = payload.strip()
    decoded = Decoded()
    if _NUMBER.fullmatch(text):
        try:
            value = Decimal(text.decode("ascii"))
        except InvalidOperation:
            return refused("too large", f"{point}: {quote(text.decode('ascii'))} is out of all range")
        doors.admit(decoded, point, None, value, unit)
    elif text in _WORDS:
        doors.admit(decoded, point, None, _WORDS[text], unit)
    elif not text:
        decoded.refuse("empty", f"{point}: the payload is empty")
    else:
        decoded.refuse("not a number", f"{point}: {quote(text.decode('utf-8', 'backslashreplace'))} is not a number")
    return decoded
