"""Has the broker handed over what it kept while we were away, and did it keep all of it?"""

from __future__ import annotations

QUIET = 0.5
"""Seconds without a message after which a backlog counts as handed over."""
SUSPICIOUS = range(1000, 1021)
"""Messages in a backlog that look like a broker's limit: 1000 waiting, and 20 under way, are common defaults."""


class Backlog:
    """What came since one connection was accepted. Times are seconds of a monotonic clock."""

    def __init__(self) -> None:
        self.messages = 0
        self._resumed = False
        self._ready = False
        self._last = 0.0
        self._drained = False

    def accepted(self, now: float, resumed: bool) -> None:
        """The broker accepted us; `resumed`: it had kept our session."""
        self._resumed = resumed
        self._last = now

    def subscribed(self, now: float) -> None:
        """The broker confirmed what we read."""
        self._ready = True
        self._last = now

    def heard(self, now: float) -> None:
        """A message came, or was handed on, or acknowledged so that another may come."""
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
