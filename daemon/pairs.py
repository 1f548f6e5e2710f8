"""Which KEY=VALUE pairs stand on a command line?"""

from __future__ import annotations

from collections.abc import Sequence

from rules.errors import SettingError


def parse_pairs(words: Sequence[str], example: str) -> dict[str, str]:
    """`["temperature=20", ...]` -> key -> text; raises SettingError where a word is no pair or a key stands twice."""
    pairs: dict[str, str] = {}
    for word in words:
        key, equals, value = word.partition("=")
        key, value = key.strip(), value.strip()
        if not equals or not key or not value:
            raise SettingError(f"{word!r} is no KEY=VALUE; write as in {example}")
        if key in pairs:
            raise SettingError(f"{key} stands twice; write it once")
        pairs[key] = value
    return pairs
