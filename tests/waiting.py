"""How does a test wait for something that another thread or process does?"""

from __future__ import annotations

import time
from collections.abc import Callable

LIMIT = 20.0
"""Seconds after which a test fails that waits in vain."""


def until(holds: Callable[[], object]) -> None:
    """Return as soon as `holds()` is true."""
    end = time.monotonic() + LIMIT
    while not holds():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.005)
