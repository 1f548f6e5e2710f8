"""Has the broker handed over what it kept while we were away, and did it keep all of it?"""

from __future__ import annotations

from collections.abc import Iterable

from adapters.intake import Arrived

QUIET = 0.5
"""Seconds without a message from before the connection after which a backlog counts as handed over."""
_NO_TIME_YET = 1 << 62
"""Then every message that has a time counts as one from before."""
SUSPICIOUS = range(1000, 1021)
"""Messages in a backlog that look like a broker's limit: 1000 waiting, and 20 under way, are common defaults."""


class Backlog:
    """What came since one connection was accepted. `now` is always in seconds of a monotonic clock.

    Brokers hand over in the order in which things were published: what is dated later than the connection shows that
    nothing more waits, and does not prolong the wait at a site that is never quiet. Nor does what has no time of its
    own, which is dated on arrival and so is never late.
    """

    def __init__(self) -> None:
        self.messages = 0
        self._resumed = False
        self._ready = False
        self._since = 0
        """When we were accepted, ms UTC."""
        self._is_old = False
        """Whether the newest message was from before that."""
        self._last = 0.0
        self._drained = False

    def accepted(self, now: float, resumed: bool, clock: int) -> None:
        """The broker accepted us; `resumed`: it had kept our session; clock: ms UTC, 0 while there is no time yet."""
        self._resumed, self._since = resumed, clock or _NO_TIME_YET
        self._last = now

    def subscribed(self, now: float) -> None:
        """The broker confirmed what we read."""
        self._ready = True
        self._last = now

    def heard(self, now: float, readings: Iterable[Arrived]) -> None:
        """A message with these readings came and was handed on."""
        newest = max((reading.time for reading in readings if reading.time is not None), default=None)
        self._is_old = newest is not None and newest < self._since
        self.acknowledged(now)

    def acknowledged(self, now: float) -> None:
        """A message was acknowledged, so that another may come."""
        if self._is_old:
            self._last = now

    def is_drained(self, now: float, filling: bool) -> bool:
        """Whether the backlog is through; once it is, it stays so.

        filling: so many messages are unacknowledged that the broker may only be waiting for us.
        """
        if not self._drained and self._ready and not filling:
            self._drained = not self._resumed or now - self._last >= QUIET
        return self._drained

    def note(self) -> str | None:
        """What the keeper should know about a drained backlog, if anything."""
        if self._drained and self._resumed and self.messages in SUSPICIOUS:
            return (
                f"the broker had kept {self.messages} messages for us, which looks like its limit and not like all "
                "there was; raise the number of messages that it queues for a client that is away"
            )
        return None
