"""Which value in a JSON document does a pointer name? JSON Pointer, RFC 6901."""

from __future__ import annotations

import re

from rules.errors import SettingError

_INDEX = re.compile(r"0|[1-9][0-9]*")
_BAD_ESCAPE = re.compile(r"~(?![01])")


class Missing:
    """The type of MISSING."""

    def __repr__(self) -> str:
        return "MISSING"


MISSING = Missing()
"""What a pointer names that names nothing."""


class Pointer:
    """A parsed JSON Pointer in its string form, such as `/sensors/0/value` (`""` is the whole document)."""

    __slots__ = ("text", "tokens")

    def __init__(self, text: str) -> None:
        """Raises SettingError for text that is no JSON Pointer."""
        if text and not text.startswith("/"):
            raise SettingError(f'JSON Pointer {text!r} must be empty or begin with "/"; write it as in "/temperature"')
        if _BAD_ESCAPE.search(text):
            raise SettingError(f'JSON Pointer {text!r}: write "~" as "~0" and "/" within a key as "~1"')
        self.text = text
        # ~1 first: "~01" must become "~1", not "/" (RFC 6901 section 4).
        self.tokens = tuple(part.replace("~1", "/").replace("~0", "~") for part in text.split("/")[1:])

    def __repr__(self) -> str:
        return f"Pointer({self.text!r})"

    def find(self, document: object) -> object:
        """The value that this names in `document`, or MISSING."""
        value = document
        for token in self.tokens:
            if isinstance(value, dict):
                value = value.get(token, MISSING)
            elif isinstance(value, list):
                # An index has at most a few digits; "-" names the element after the last, which is not there.
                index = int(token) if _INDEX.fullmatch(token) and len(token) < 10 else len(value)
                value = value[index] if index < len(value) else MISSING
            else:
                return MISSING
        return value
