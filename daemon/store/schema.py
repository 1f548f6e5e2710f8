"""Which tables does the store have, and how does an older store become a present one?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from daemon.store.connection import Connection
from daemon.store.errors import StoreDamaged, StoreOld, StoreTooNew

APPLICATION = 0x7469_6465
"""Marks the file as a store (SQLite's application_id): "tide"."""


class Migration(NamedTuple):
    """One change of the schema. It and the record that it was applied are one transaction."""

    name: str
    statements: tuple[str, ...]


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        "readings, log, checkpoint, inbox, sendings and cursor",
        (
            "CREATE TABLE point (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, quantity TEXT NOT NULL)",
            # resolution is a rational as text, in `unit`. A changed unit or resolution is a new series.
            """CREATE TABLE series (
                id INTEGER PRIMARY KEY,
                point INTEGER NOT NULL,
                unit TEXT NOT NULL,
                resolution TEXT NOT NULL,
                UNIQUE (point, unit, resolution)
            )""",
            # seq is the order of commits, which the forwarder follows: AUTOINCREMENT never gives one out again, even
            # when sealing has emptied the table. effective: set on a reading that came behind the frontier, the
            # instant (ms UTC) from which rules could know it.
            """CREATE TABLE reading (
                seq INTEGER PRIMARY KEY AUTOINCREMENT,
                point INTEGER NOT NULL,
                time INTEGER NOT NULL,
                series INTEGER NOT NULL,
                value INTEGER NOT NULL,
                flag INTEGER NOT NULL,
                effective INTEGER
            )""",
            # Time first: live readings of all points then fall on the same page. Point first, each commit would write a
            # page a point, six times as many bytes for thirty points, and a memory card wears by what is written.
            "CREATE UNIQUE INDEX reading_identity ON reading (time, point)",
            # A sealed UTC day of a series: columns as in daemon/store/columns.py.
            """CREATE TABLE block (
                id INTEGER PRIMARY KEY,
                point INTEGER NOT NULL,
                day INTEGER NOT NULL,
                series INTEGER NOT NULL,
                readings INTEGER NOT NULL,
                first INTEGER NOT NULL,
                last INTEGER NOT NULL,
                columns BLOB NOT NULL,
                UNIQUE (point, day, series)
            )""",
            # Blocks that the forwarder still owes whole. Apart, so that a mark does not rewrite a block.
            "CREATE TABLE owed_block (id INTEGER PRIMARY KEY)",
            """CREATE TABLE event (
                id INTEGER PRIMARY KEY,
                t INTEGER NOT NULL,
                type TEXT NOT NULL,
                rule TEXT,
                line TEXT NOT NULL
            )""",
            "CREATE INDEX event_time ON event (t)",
            "CREATE INDEX event_rule ON event (rule, t)",
            """CREATE TABLE act (
                id INTEGER PRIMARY KEY,
                time INTEGER NOT NULL,
                kind TEXT NOT NULL,
                until INTEGER,
                act TEXT NOT NULL
            )""",
            "CREATE INDEX act_time ON act (time)",
            "CREATE TABLE inbox (id INTEGER PRIMARY KEY AUTOINCREMENT, act TEXT NOT NULL)",
            "CREATE TABLE checkpoint (id INTEGER PRIMARY KEY CHECK (id = 1), state BLOB NOT NULL)",
            # next_try is for people to read; the waiting itself runs on a clock that a restart starts anew.
            """CREATE TABLE sending (
                n INTEGER PRIMARY KEY AUTOINCREMENT,
                message_id TEXT NOT NULL,
                person TEXT NOT NULL,
                way TEXT NOT NULL,
                title TEXT NOT NULL,
                body TEXT NOT NULL,
                priority TEXT NOT NULL,
                purpose TEXT NOT NULL,
                created INTEGER NOT NULL,
                state TEXT NOT NULL,
                attempts INTEGER NOT NULL DEFAULT 0,
                uncertain INTEGER NOT NULL DEFAULT 0,
                next_try INTEGER,
                reason TEXT NOT NULL DEFAULT '',
                settled INTEGER,
                UNIQUE (message_id, person, way)
            )""",
            "CREATE INDEX sending_waiting ON sending (n) WHERE state IN ('owed', 'trying')",
            # Rows up to `seq` are at the server; those up to `reaching` are on their way, outcome not yet known.
            """CREATE TABLE cursor (
                name TEXT PRIMARY KEY,
                seq INTEGER NOT NULL,
                reaching INTEGER NOT NULL
            ) WITHOUT ROWID""",
            "CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID",
        ),
    ),
    Migration(
        "what a message is about",
        (
            "ALTER TABLE sending ADD COLUMN rule TEXT NOT NULL DEFAULT ''",
            "ALTER TABLE sending ADD COLUMN side TEXT NOT NULL DEFAULT ''",
        ),
    ),
    Migration(
        "what the quality tests said",
        (
            # The flag by which rules judged the reading, NULL where it is that with which it came or no test judged it;
            # and the flag it ended with, NULL where it is that by which it was judged.
            "ALTER TABLE reading ADD COLUMN judged INTEGER",
            "ALTER TABLE reading ADD COLUMN final INTEGER",
        ),
    ),
    Migration(
        "flags that changed after their reading was forwarded",
        (
            "CREATE TABLE owed_flag (seq INTEGER PRIMARY KEY)",
            # A trigger, so that nobody who says something of a reading has to think of the forwarder.
            """CREATE TRIGGER flag_owed AFTER UPDATE OF judged, final ON reading
            WHEN OLD.seq <= (SELECT reaching FROM cursor WHERE name = 'remote_store')
            BEGIN INSERT OR IGNORE INTO owed_flag (seq) VALUES (OLD.seq); END""",
        ),
    ),
)


def version(connection: Connection) -> int:
    """How many migrations the store has had. Raises StoreDamaged where the file is another program's."""
    if not connection.value("SELECT count(*) FROM sqlite_master"):
        return 0
    if connection.value("PRAGMA application_id") != APPLICATION:
        raise StoreDamaged(f"{connection.path} is a database, but not a store of this program; name another file")
    return int(connection.value("SELECT count(*) FROM migration"))


def pending(connection: Connection, migrations: Sequence[Migration] = MIGRATIONS) -> Sequence[Migration]:
    """The migrations that the store still lacks; writes nothing. Raises StoreTooNew, StoreDamaged."""
    done = version(connection)
    if done > len(migrations):
        raise StoreTooNew(
            f"{connection.path} was written by a later version (schema {done}, this one knows {len(migrations)}); "
            "install that version, or name another file"
        )
    return migrations[done:]


def require_present(connection: Connection) -> None:
    """Raises StoreOld where a migration is pending, which only the daemon applies; StoreTooNew, StoreDamaged."""
    if pending(connection):
        raise StoreOld(f"{connection.path} is of an earlier version; start the daemon once to bring it up to date")


def migrate(connection: Connection, migrations: Sequence[Migration] = MIGRATIONS) -> None:
    """Bring the store up to date, one transaction a migration: one that fails leaves no trace."""
    for _ in range(len(migrations) + 1):
        with connection.transaction():
            # Asked again within the transaction: another process may have been quicker.
            left = pending(connection, migrations)
            if not left:
                return
            if version(connection) == 0:
                connection.run(f"PRAGMA application_id = {APPLICATION}")
                connection.run("CREATE TABLE migration (version INTEGER PRIMARY KEY, name TEXT NOT NULL)")
            for statement in left[0].statements:
                connection.run(statement)
            connection.run("INSERT INTO migration (name) VALUES (?)", (left[0].name,))
