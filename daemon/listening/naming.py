"""What should a point be called? A short id out of its address, none twice."""

from __future__ import annotations

import re
from collections.abc import Collection

from daemon.site.tables import ID

_ID = re.compile(ID)


def is_id(text: str) -> bool:
    """Whether a site file takes it as the id of a point."""
    return _ID.fullmatch(text) is not None


def name_for(address: str, taken: Collection[str]) -> str:
    """An id that is not taken: the last two parts of the address, more where these are taken, at last a number."""
    parts = [re.sub(r"[^a-z0-9]+", "_", part.lower()).strip("_") for part in re.split(r"[/\s:.]+", address)]
    parts = [part for part in parts if part]
    parts = [part for part in parts if not part.isdecimal()] or parts or ["point"]
    for length in range(2, len(parts) + 2):
        name = ".".join(parts[-length:])
        if name not in taken:
            return name
    number = 2
    while f"{name}_{number}" in taken:
        number += 1
    return f"{name}_{number}"
