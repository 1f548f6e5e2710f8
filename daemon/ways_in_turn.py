"""Which of a person's ways wait for those before them, and which need not be used any more?

A person's ways are used all at once, unless the site file says after how long the next one is tried. Then they stand in
for each other: a message that one of them took is spared on the others.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from daemon.store import Sending, State

Became = Mapping[str, State]
"""message id -> what became of that sending."""


class InTurn(NamedTuple):
    """ways: a person's ways in order; after: ms that each has before the next is tried as well; ways_for: priority ->
    other ways."""

    ways: tuple[str, ...]
    after: int
    ways_for: Mapping[str, tuple[str, ...]] = {}

    def of(self, sending: Sending) -> tuple[str, ...]:
        """The ways of a message, in order."""
        return self.ways_for.get(sending.priority, self.ways)


class Turns(NamedTuple):
    """held: numbers that wait for a way before theirs; spared: numbers not needed any more; wait: ms until one of the
    held is due, None for never."""

    held: frozenset[int]
    spared: list[int]
    wait: int | None


def siblings(sending: Sending, in_turn: InTurn) -> dict[str, str]:
    """way -> message id of the same message by each of the person's ways, in their order."""
    key = sending.message_id.removesuffix(f"/{sending.way}")
    return {way: f"{key}/{way}" for way in in_turn.of(sending)}


def take_turns(
    waiting: Iterable[Sending], became: Mapping[int, Became], people: Mapping[str, InTurn], now: int
) -> Turns:
    """Sort out `waiting`. became: number -> what became of each of that message's siblings; now: ms UTC.

    A way's turn comes when every way before it was refused, or when the message is older than `after` for each of them.
    """
    held: set[int] = set()
    spared: list[int] = []
    wait: int | None = None
    for sending in waiting:
        in_turn = people.get(sending.person)
        if in_turn is None or sending.way not in in_turn.of(sending) or sending.state is not State.OWED:
            continue
        ways = in_turn.of(sending)
        states = became[sending.number]
        ids = siblings(sending, in_turn)
        if any(states.get(ids[way]) is State.SENT for way in ways if way != sending.way):
            spared.append(sending.number)
            continue
        rank = ways.index(sending.way)
        hopeful = [way for way in ways[:rank] if states.get(ids[way]) in (State.OWED, State.TRYING)]
        left = sending.created + rank * in_turn.after - now
        if hopeful and left > 0:
            held.add(sending.number)
            wait = left if wait is None else min(wait, left)
    return Turns(frozenset(held), spared, wait)
