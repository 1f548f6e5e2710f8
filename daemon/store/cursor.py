"""Which readings does the forwarder still owe to the remote store, and which of them are on their way?

Rows follow the order of commits, so a reading that came behind is owed like any other. Days that were sealed while the
link was down are owed as whole blocks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daemon.store.columns import Columns
from daemon.store.connection import Connection
from daemon.store.history import sealed
from daemon.store.series import Series, every_series

NAME = "remote_store"


@dataclass(frozen=True, slots=True)
class Batch:
    """Readings of several series for one write. `last`: the highest row number among them, or None for a block's."""

    parts: tuple[tuple[Series, Columns], ...]
    last: int | None
    block: int | None = None

    def __len__(self) -> int:
        return sum(len(columns.times) for _, columns in self.parts)


@dataclass(frozen=True, slots=True)
class Debt:
    """How far the forwarder is behind: rows not yet forwarded, and sealed days of points not yet forwarded."""

    rows: int
    days: int


def begin(connection: Connection) -> None:
    """From now on everything is owed, the history that is already there included; a no-op where it already is."""
    with connection.transaction():
        if connection.run("INSERT OR IGNORE INTO cursor (name, seq, reaching) VALUES (?, 0, 0)", (NAME,)):
            connection.run("INSERT INTO owed_block (id) SELECT id FROM block")


def end(connection: Connection) -> None:
    """Nothing is owed any more: the site has no remote store."""
    with connection.transaction():
        if connection.run("DELETE FROM cursor WHERE name = ?", (NAME,)):
            connection.run("DELETE FROM owed_block")


def position(connection: Connection) -> tuple[int, int] | None:
    """(row up to which everything is forwarded, row up to which a batch is on its way), or None without a forwarder."""
    row = connection.row("SELECT seq, reaching FROM cursor WHERE name = ?", (NAME,))
    return None if row is None else (row[0], row[1])


def debt(connection: Connection) -> Debt:
    """How far the forwarder is behind."""
    where = position(connection)
    if where is None:
        return Debt(0, 0)
    rows = connection.value("SELECT count(*) FROM reading WHERE seq > ?", (where[0],))
    return Debt(rows, connection.value("SELECT count(*) FROM owed_block"))


def next_rows(connection: Connection, most: int) -> Batch | None:
    """The oldest rows owed, at most `most`, written down as being on their way; None when there are none."""
    where = position(connection)
    if where is None:
        return None
    seq, reaching = where
    # A batch whose outcome is not known is taken again as it was, so that sealing knows what may be at the server.
    upto = reaching if reaching > seq else 2**63 - 1
    rows = connection.rows(
        "SELECT seq, series, time, value, flag FROM reading WHERE seq > ? AND seq <= ? ORDER BY seq LIMIT ?",
        (seq, upto, most),
    )
    if not rows:
        return None
    table = np.array(rows, dtype=np.int64)
    last = int(table[-1, 0])
    if last > reaching:
        with connection.transaction():
            connection.run("UPDATE cursor SET reaching = ? WHERE name = ?", (last, NAME))
    known = every_series(connection)
    parts = []
    for one in np.unique(table[:, 1]):
        part = table[table[:, 1] == one]
        none = np.zeros(len(part), np.uint8)
        columns = Columns(part[:, 2], part[:, 3], part[:, 4].astype(np.uint8), np.empty(0, np.int64), none, none)
        parts.append((known[int(one)], columns))
    return Batch(tuple(parts), last)


def next_block(connection: Connection) -> Batch | None:
    """The oldest sealed day of a point that is owed; None when there is none."""
    row = connection.row(
        "SELECT id, point, day, series FROM block WHERE id IN (SELECT id FROM owed_block) ORDER BY id LIMIT 1"
    )
    if row is None:
        return None
    block, point, day, series = row
    (columns,) = (columns for one, columns in sealed(connection, point, day) if one == series)
    return Batch(((every_series(connection)[series], columns),), None, block)


def forwarded(connection: Connection, batch: Batch) -> None:
    """Write down that the server has every reading of `batch`."""
    with connection.transaction():
        if batch.last is not None:
            connection.run(
                "UPDATE cursor SET seq = MAX(seq, ?1), reaching = MAX(reaching, ?1) WHERE name = ?2", (batch.last, NAME)
            )
        else:
            # A late reading may have been sealed into the day meanwhile: then it is still owed.
            connection.run(
                "DELETE FROM owed_block WHERE id = ?1 AND ?2 = (SELECT readings FROM block WHERE id = ?1)",
                (batch.block, len(batch)),
            )
