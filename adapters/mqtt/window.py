"""Will the broker soon stop, because too many messages are unacknowledged?"""

from __future__ import annotations

ANNOUNCED = 65_535
"""The Receive Maximum that we announce under MQTT 5: as many messages as the protocol allows."""
USUAL = 20
"""Messages that a broker commonly sends ahead of acknowledgements under MQTT 3.1.1 (common practice, no source)."""
_TELLING = 10
_ALIKE = 3


class Window:
    """Counts the messages under way, and learns how many the broker dares to send ahead.

    A broker may send fewer than we announce. It is found out by this: under load it stops at the same number again
    and again, however long the acknowledgements take.
    """

    def __init__(self, size: int) -> None:
        self.size = size
        self.open = 0
        self._rising = False
        self._peak = 0
        self._alike = 0

    def heard(self) -> bool:
        """One more message is under way; whether its sender should be acknowledged early."""
        self.open += 1
        self._rising = True
        if self.open > self.size:
            self.size = ANNOUNCED
        return self.is_filling()

    def acknowledged(self) -> None:
        """One message fewer is under way."""
        if self._rising:
            self._rising = False
            self._alike = self._alike + 1 if self.open == self._peak else 1
            self._peak = self.open
            if self._alike >= _ALIKE and self._peak >= _TELLING:
                self.size = min(self.size, self._peak)
        self.open -= 1

    def is_filling(self) -> bool:
        """Whether half of the window is used up."""
        return self.open * 2 >= self.size
