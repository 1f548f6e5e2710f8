"""How does another process hand an act to the running daemon, so that it is taken exactly once?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from daemon.store.connection import Connection
from daemon.store.errors import StoreMissing
from daemon.store.log import read_act, write_act
from daemon.store.schema import require_present
from rules.acts import Act, ActKind


def hand_in(path: Path, act: Act) -> int:
    """Leave `act` for the daemon that owns the store at `path`; returns its number in the inbox.

    An acknowledgement that names no activation is about those that are in the log by now. It is on disk when this
    returns. Raises StoreMissing, StoreReadOnly, StoreBusy, StoreOld.
    """
    if not path.exists():
        raise StoreMissing(f"there is no store at {path}; it appears once the daemon has run")
    connection = Connection(path)
    try:
        require_present(connection)
        with connection.transaction():
            if act.kind is ActKind.ACKNOWLEDGE and not act.data:
                # Nobody has seen what is raised between this and the daemon's taking it.
                known = connection.value("SELECT max(t) FROM event")
                act = replace(act, data={"known_upto": str(known or 0)})
            connection.run("INSERT INTO inbox (act) VALUES (?)", (write_act(act),))
            return int(connection.value("SELECT last_insert_rowid()"))
    finally:
        connection.close()


def waiting(connection: Connection) -> list[tuple[int, Act]]:
    """(number, act) of what has been handed in and not yet taken, in order."""
    return [(number, read_act(text)) for number, text in connection.rows("SELECT id, act FROM inbox ORDER BY id")]


def strike(connection: Connection, taken: Iterable[int]) -> None:
    """Remove what the caller's transaction has logged."""
    connection.run_many("DELETE FROM inbox WHERE id = ?", [(number,) for number in taken])
