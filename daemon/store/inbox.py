"""How does another process hand an act to the running daemon, so that it is taken exactly once?"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from daemon.store.connection import Connection
from daemon.store.errors import StoreMissing
from daemon.store.log import read_act, write_act
from daemon.store.schema import require_present
from rules.acts import Act


def hand_in(path: Path, act: Act) -> int:
    """Leave `act` for the daemon that owns the store at `path`; returns its number in the inbox.

    It is on disk when this returns. Raises StoreMissing, StoreReadOnly, StoreBusy, StoreOld.
    """
    if not path.exists():
        raise StoreMissing(f"there is no store at {path}; it appears once the daemon has run")
    connection = Connection(path)
    try:
        require_present(connection)
        with connection.transaction():
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
