"""What does every inward adapter hand to the daemon, and what does it tell about itself?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from rules.clock import Clock


class Arrived(NamedTuple):
    """One decoded reading at the door of the daemon.

    time: ms UTC, or None for a payload without a time of its own (the daemon dates it on arrival);
    counts: whole number of the point's resolution in its unit (0 where missing); flag: see rules.flags.
    """

    point: str
    time: int | None
    counts: int
    flag: int


class Refusal(NamedTuple):
    """A reading or message that was refused. cause: a short fixed word to count by, as in "not a number"."""

    cause: str
    detail: str


def nothing_to_acknowledge() -> None:
    """For adapters whose source wants no acknowledgement."""


@dataclass(slots=True)
class Delivery:
    """What one message or poll yielded; rounded and coarse as in Decoded. `done` is called once it is on disk."""

    adapter: str
    readings: list[Arrived] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)
    rounded: int = 0
    coarse: list[str] = field(default_factory=list)
    done: Callable[[], None] = nothing_to_acknowledge
    clock: int | None = None
    """A played clock's new time in ms UTC; judged after all readings before it."""
    wants_commit: bool = False
    """The sender's window of unacknowledged messages may soon be full: commit early."""


@dataclass(slots=True)
class Health:
    """What an adapter knows about itself; shown in the health line."""

    name: str
    state: str = "starting"
    """One word: starting, connected, waiting, stopped, failed."""
    received: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    last_error: str = ""


class Inlet(Protocol):
    """Where adapters put what they heard. Bounded: `put` blocks (with a timeout) rather than drop."""

    def put(self, delivery: Delivery) -> None:
        """Hand over one delivery; called from any thread."""


class Adapter(Protocol):
    """The one small contract of all inward adapters: supervised, stoppable, honest about its state."""

    name: str

    def start(self, inlet: Inlet, clock: Clock) -> None:
        """Begin to connect and deliver on threads of its own; returns at once, never raises for a dead link."""

    def stop(self) -> None:
        """Stop and join; idempotent."""

    def drained(self) -> bool:
        """Whether the backlog that waited while the daemon was away has been handed over."""

    def health(self) -> Health:
        """A snapshot."""


OLDEST = 946_684_800_000
"""2000-01-01: an earlier time is a device whose clock was never set."""
FUTURE_MARGIN = 60_000
"""A reading dated further ahead of the daemon's clock than this (ms) is refused."""


def judge_time(time: int, now: int) -> str | None:
    """The cause to refuse a reading's own time, or None when it is believable."""
    if time < OLDEST:
        return "time before 2000"
    if time > now + FUTURE_MARGIN:
        return "time in the future"
    return None
