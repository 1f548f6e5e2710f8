"""Which messages go next, so that each person gets them in order and a critical one waits for no other?

A lane is one person by one way. A way that is down holds up its own lane alone.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import NamedTuple

from daemon.store import Sending

Lane = tuple[str, str]
"""Person and way."""


def lane(sending: Sending) -> Lane:
    """Whose turn a message waits for."""
    return sending.person, sending.way


class NextUp(NamedTuple):
    """What to hand over now, and seconds until something else is due (None: nothing that only time will bring)."""

    now: list[Sending]
    wait: float | None


def next_up(waiting: Iterable[Sending], flying: Collection[int], not_before: Mapping[int, float], now: float) -> NextUp:
    """The head of each lane that is due at `now` (monotonic seconds).

    waiting: in the order in which messages became owed; flying: numbers of those that are with a service already;
    not_before: number -> monotonic time of its next try. Of a lane the oldest critical one goes first, even while
    another is with the service or waits for its next try; the others wait until no critical one is left, and then for
    the one before.
    """
    heads: dict[tuple[Lane, bool], Sending] = {}
    for sending in waiting:
        heads.setdefault((lane(sending), sending.critical), sending)
    due: list[Sending] = []
    wait: float | None = None
    for (whose, critical), head in heads.items():
        if head.number in flying or (not critical and (whose, True) in heads):
            continue
        left = not_before.get(head.number, now) - now
        if left <= 0:
            due.append(head)
        else:
            wait = left if wait is None else min(wait, left)
    return NextUp(due, wait)
