"""What time is it, for whoever must ask? The core never asks; it is told `now`."""

from typing import Protocol


class Clock(Protocol):
    """A source of engine time."""

    def now(self) -> int:
        """ms UTC."""
