"""Which readings does the forwarder still owe to the remote store, and which of them are on their way?

Rows follow the order of commits, so a reading that came behind is owed like any other. Days that were sealed while the
link was down are owed as whole blocks. A reading whose flag changed after it went is owed once more.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from daemon.store.columns import NOT_BEHIND, NOT_SAID, Columns
from daemon.store.connection import Connection
from daemon.store.history import unpacked
from daemon.store.series import Series, every_series

NAME = "remote_store"


@dataclass(frozen=True, slots=True)
class Batch:
    """Readings of several series for one write: rows up to number `last`, or a block, or rows whose flag changed.

    block: its number, and its bytes as they go. flags: row numbers, and the flag of each as it goes.
    """

    parts: tuple[tuple[Series, Columns], ...]
    last: int | None = None
    block: tuple[int, bytes] | None = None
    flags: tuple[tuple[int, int], ...] = ()

    def __len__(self) -> int:
        return sum(len(columns.times) for _, columns in self.parts)


@dataclass(frozen=True, slots=True)
class Debt:
    """How far the forwarder is behind: rows not yet forwarded as they are, and sealed days of points not forwarded."""

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
            connection.run("DELETE FROM owed_flag")


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
    rows += connection.value("SELECT count(*) FROM owed_flag WHERE seq <= ?", (where[0],))
    return Debt(rows, connection.value("SELECT count(*) FROM owed_block"))


def owe(connection: Connection, point: int, day: int, series: int) -> None:
    """From now on this block is owed; a no-op without a forwarder."""
    connection.run(
        "INSERT OR IGNORE INTO owed_block (id) SELECT id FROM block WHERE point = ? AND day = ? AND series = ? "
        "AND EXISTS (SELECT 1 FROM cursor WHERE name = ?)",
        (point, day, series, NAME),
    )


def next_rows(connection: Connection, most: int) -> Batch | None:
    """The oldest rows owed, at most `most`, written down as being on their way; None when there are none."""
    where = position(connection)
    if where is None:
        return None
    seq, reaching = where
    # A batch whose outcome is not known is taken again as it was, so that sealing knows what may be at the server.
    upto = reaching if reaching > seq else 2**63 - 1
    rows = connection.rows(
        f"SELECT {_ROW} FROM reading WHERE seq > ? AND seq <= ? ORDER BY seq LIMIT ?", (seq, upto, most)
    )
    if not rows:
        return None
    last = int(rows[-1][0])
    if last > reaching:
        with connection.transaction():
            connection.run("UPDATE cursor SET reaching = ? WHERE name = ?", (last, NAME))
    return Batch(_parts(connection, rows), last)


def next_flags(connection: Connection, most: int) -> Batch | None:
    """The oldest rows at the server whose flag changed since, at most `most`; None when there are none."""
    rows = connection.rows(
        f"SELECT {_ROW} FROM reading JOIN owed_flag USING (seq) "
        "WHERE seq <= (SELECT seq FROM cursor WHERE name = ?) ORDER BY seq LIMIT ?",
        (NAME, most),
    )
    if not rows:
        return None
    parts = _parts(connection, rows)
    return Batch(parts, flags=tuple((row[0], row[6] or row[5] or row[4]) for row in rows))


_ROW = f"seq, series, time, value, flag, COALESCE(judged, {NOT_SAID}), COALESCE(final, {NOT_SAID})"


def _parts(connection: Connection, rows: list[tuple[Any, ...]]) -> tuple[tuple[Series, Columns], ...]:
    """Rows as `_ROW` asks for them, as columns of each series."""
    known = every_series(connection)
    table = np.array(rows, dtype=np.int64)
    parts = []
    for one in np.unique(table[:, 1]):
        part = table[table[:, 1] == one]
        flag, judged, final = part[:, 4:7].astype(np.uint8).T
        behind = np.full(len(part), NOT_BEHIND)
        parts.append((known[int(one)], Columns(part[:, 2], part[:, 3], flag, behind, judged, final)))
    return tuple(parts)


def next_block(connection: Connection) -> Batch | None:
    """The oldest sealed day of a point that is owed; None when there is none."""
    row = connection.row(
        "SELECT id, point, day, series, columns FROM block WHERE id IN (SELECT id FROM owed_block) ORDER BY id LIMIT 1"
    )
    if row is None:
        return None
    block, point, day, series, data = row
    return Batch(((every_series(connection)[series], unpacked(connection, point, day, data)),), block=(block, data))


def forwarded(connection: Connection, batch: Batch) -> None:
    """Write down that the server has every reading of `batch`."""
    with connection.transaction():
        if batch.last is not None:
            connection.run(
                "UPDATE cursor SET seq = MAX(seq, ?1), reaching = MAX(reaching, ?1) WHERE name = ?2", (batch.last, NAME)
            )
        elif batch.flags:
            # Where it changed once more meanwhile, it is still owed.
            connection.run_many(
                "DELETE FROM owed_flag WHERE seq = ?1 "
                "AND (SELECT COALESCE(final, judged, flag) FROM reading WHERE seq = ?1) = ?2",
                batch.flags,
            )
        elif batch.block is not None:
            # A late reading may have been sealed into the day meanwhile, or a flag have changed: then it is still owed.
            connection.run(
                "DELETE FROM owed_block WHERE id = ?1 AND ?2 = (SELECT columns FROM block WHERE id = ?1)", batch.block
            )
