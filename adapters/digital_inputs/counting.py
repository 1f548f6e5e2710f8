"""How do pulses become a flow? Pure: whole counts, exact until rounded once at the point's door."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction


def flow(pulses: int, elapsed: int, pulses_per_litre: Decimal) -> Fraction:
    """L/min of `pulses` in `elapsed` ms: pulses / factor / elapsed * 60,000. Raises ValueError where no time passed."""
    if elapsed <= 0:
        raise ValueError("no time has passed")
    return Fraction(pulses * 60_000, elapsed) / Fraction(pulses_per_litre)


class PulseCounter:
    """Rising edges of one line since the last look."""

    def __init__(self, now: int) -> None:
        """now: monotonic ms."""
        self._since = now
        self._pulses = 0

    def pulse(self) -> None:
        """One rising edge."""
        self._pulses += 1

    def take(self, now: int) -> tuple[int, int]:
        """(pulses, ms that they took) since the last look."""
        taken = self._pulses, now - self._since
        self._since, self._pulses = now, 0
        return taken
