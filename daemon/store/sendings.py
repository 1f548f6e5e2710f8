"""What is owed to people, and what became of each sending?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from daemon.store.connection import Connection


class State(StrEnum):
    """What became of a sending. `trying`: handed over, outcome not yet known. `refused`: for good, set aside.

    `folded`: a later message tells of it; `spared`: another way of the same person took the message, or somebody has
    answered meanwhile.
    """

    OWED = "owed"
    TRYING = "trying"
    SENT = "sent"
    REFUSED = "refused"
    FOLDED = "folded"
    SPARED = "spared"


@dataclass(frozen=True, slots=True)
class Sending:
    """One message to one person by one way. message_id: the same for every try; created: ms UTC.

    number: the store's, in the order in which sendings became owed; 0 before it is stored. uncertain: an earlier try
    may have arrived. next_try: ms UTC, None when it is not waiting for a retry. settled: when it was sent or refused.
    rule, side: the alarm that it is about; empty where it is about none.
    """

    message_id: str
    person: str
    way: str
    title: str
    body: str
    priority: str
    purpose: str
    created: int
    number: int = 0
    state: State = State.OWED
    attempts: int = 0
    uncertain: bool = False
    next_try: int | None = None
    reason: str = ""
    settled: int | None = None
    rule: str = ""
    side: str = ""

    @property
    def critical(self) -> bool:
        """Whether it overtakes."""
        return self.priority == "critical"


_COLUMNS = (
    "message_id, person, way, title, body, priority, purpose, created, "
    "n, state, attempts, uncertain, next_try, reason, settled, rule, side"
)


def _found(connection: Connection, where: str, values: Sequence[object] = ()) -> list[Sending]:
    rows = connection.rows(f"SELECT {_COLUMNS} FROM sending WHERE {where} ORDER BY n", values)
    found = [Sending(*row) for row in rows]
    return [replace(sending, state=State(sending.state), uncertain=bool(sending.uncertain)) for sending in found]


def add_owed(connection: Connection, owed: Iterable[Sending]) -> int:
    """Write down what is owed, within the caller's transaction; one that is already there is left as it is.

    Returns how many were new.
    """
    return connection.run_many(
        "INSERT OR IGNORE INTO sending "
        "(message_id, person, way, title, body, priority, purpose, created, rule, side, state) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 'owed')",
        [
            (s.message_id, s.person, s.way, s.title, s.body, s.priority, s.purpose, s.created, s.rule, s.side)
            for s in owed
        ],
    )


def unsent(connection: Connection) -> list[Sending]:
    """What is owed or being tried, in order."""
    return _found(connection, "state IN ('owed', 'trying')")


def numbered(connection: Connection, number: int) -> Sending | None:
    """The sending of a number, whatever became of it."""
    return next(iter(_found(connection, "n = ?", (number,))), None)


def called(connection: Connection, message_id: str) -> list[Sending]:
    """The sendings of a message id, whatever became of them."""
    return _found(connection, "message_id = ?", (message_id,))


def became(connection: Connection, person: str, message_ids: Iterable[str]) -> dict[str, State]:
    """message id -> what became of the sending to `person`, of those that are there."""
    found: dict[str, State] = {}
    for message_id in message_ids:
        state = connection.value("SELECT state FROM sending WHERE message_id = ? AND person = ?", (message_id, person))
        if state is not None:
            found[message_id] = State(state)
    return found


def told_before(connection: Connection, recovery: Sending) -> list[Sending]:
    """What went before `recovery` by the same way about the same alarm, since the recovery before it."""
    same = "person = ? AND way = ? AND rule = ? AND side = ? AND n < ?"
    about = (recovery.person, recovery.way, recovery.rule, recovery.side, recovery.number)
    begin = connection.value(f"SELECT max(n) FROM sending WHERE {same} AND purpose = 'recovery'", about)
    return _found(connection, f"{same} AND n > ?", (*about, begin or 0))


def refused(connection: Connection) -> list[Sending]:
    """What was refused for good, in order."""
    return _found(connection, "state = 'refused'")


def tally(connection: Connection) -> dict[str, dict[State, int]]:
    """purpose -> state -> how many: first sendings, repeats, recoveries and signs of life counted apart."""
    counts: dict[str, dict[State, int]] = {}
    for purpose, state, number in connection.rows(
        "SELECT purpose, state, count(*) FROM sending GROUP BY purpose, state ORDER BY purpose, state"
    ):
        counts.setdefault(purpose, {})[State(state)] = number
    return counts


def doubt_unfinished(connection: Connection) -> int:
    """After a restart: whatever was being tried may have arrived, and is owed again. Returns how many."""
    with connection.transaction():
        return connection.run("UPDATE sending SET state = 'owed', uncertain = 1 WHERE state = 'trying'")


def doubt_owed(connection: Connection) -> int:
    """In a store of a while ago: whatever was owed then may have been sent since. Returns how many."""
    with connection.transaction():
        return connection.run("UPDATE sending SET state = 'owed', uncertain = 1 WHERE state IN ('owed', 'trying')")


def mark_trying(connection: Connection, numbers: Iterable[int]) -> None:
    """Write down, before the message is handed over, that it is."""
    with connection.transaction():
        connection.run_many(
            "UPDATE sending SET state = 'trying', attempts = attempts + 1, next_try = NULL WHERE n = ?",
            [(number,) for number in numbers],
        )


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of one try. state: owed (try again), sent or refused; next_try, settled: ms UTC."""

    number: int
    state: State
    uncertain: bool = False
    reason: str = ""
    next_try: int | None = None
    settled: int | None = None


def settle(connection: Connection, verdicts: Iterable[Verdict]) -> None:
    """Write down what became of tries, in one transaction."""
    with connection.transaction():
        connection.run_many(
            "UPDATE sending SET state = ?, uncertain = uncertain OR ?, reason = ?, next_try = ?, settled = ? "
            "WHERE n = ?",
            [(str(v.state), v.uncertain, v.reason, v.next_try, v.settled, v.number) for v in verdicts],
        )


def set_aside(connection: Connection, numbers: Iterable[int], state: State, reason: str, now: int) -> None:
    """Write down that these need not be sent any more, within the caller's transaction.

    One that is with a service just now is left as it is.
    """
    connection.run_many(
        "UPDATE sending SET state = ?, reason = ?, next_try = NULL, settled = ? WHERE n = ? AND state = 'owed'",
        [(str(state), reason, now, number) for number in numbers],
    )
