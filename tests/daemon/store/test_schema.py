"""Does the store's schema change in whole steps, or not at all?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.store.connection import Connection
from daemon.store.errors import StoreDamaged, StoreError, StoreOld, StoreTooNew
from daemon.store.reader import StoreReader
from daemon.store.schema import MIGRATIONS, Migration, migrate, pending

BROKEN = Migration(
    "a table, its copy, and a slip",
    ("CREATE TABLE weather (t INTEGER)", "INSERT INTO weather VALUES (1)", "INSERT INTO nowhere VALUES (1)"),
)
MENDED = Migration(BROKEN.name, BROKEN.statements[:2])


@pytest.fixture
def connection(path: Path) -> Iterator[Connection]:
    """An open file without a schema."""
    opened = Connection(path)
    yield opened
    opened.close()


def objects(connection: Connection) -> list[str]:
    """The names of all tables and indexes."""
    return [name for (name,) in connection.rows("SELECT name FROM sqlite_master ORDER BY name")]


def test_a_migration_that_fails_halfway_leaves_no_trace(connection: Connection) -> None:
    """Neither the half-made table nor a record of the migration remains, and the mended one then runs."""
    migrate(connection)
    before = objects(connection)
    with pytest.raises(StoreError, match="no such table: nowhere"):
        migrate(connection, (*MIGRATIONS, BROKEN))
    assert objects(connection) == before
    assert list(pending(connection, (*MIGRATIONS, BROKEN))) == [BROKEN]
    migrate(connection, (*MIGRATIONS, MENDED))
    assert connection.value("SELECT t FROM weather") == 1
    assert not pending(connection, (*MIGRATIONS, MENDED))


def test_the_very_first_migration_that_fails_leaves_an_empty_file(connection: Connection) -> None:
    """A new store that could not be made is not taken for one."""
    with pytest.raises(StoreError, match="nowhere"):
        migrate(connection, (BROKEN,))
    assert objects(connection) == []
    assert connection.value("PRAGMA application_id") == 0


def test_asking_what_is_pending_writes_nothing(connection: Connection) -> None:
    """A look at a new file leaves it as it was."""
    assert list(pending(connection)) == list(MIGRATIONS)
    assert objects(connection) == []


def test_migrating_twice_changes_nothing(connection: Connection) -> None:
    """A store that is up to date stays as it is."""
    migrate(connection)
    before = objects(connection)
    migrate(connection)
    assert objects(connection) == before


def test_a_store_of_a_later_version_is_refused(connection: Connection) -> None:
    """An older program does not touch what it does not know, and says which way out there is."""
    migrate(connection, (*MIGRATIONS, MENDED))
    with pytest.raises(StoreTooNew, match=r"later version .*install that version"):
        migrate(connection)


def test_a_reader_does_not_migrate(path: Path, connection: Connection) -> None:
    """A store of an earlier version is named as such to a reader, which must not write."""
    migrate(connection)
    connection.run("DELETE FROM migration WHERE version = (SELECT MAX(version) FROM migration)")
    with pytest.raises(StoreOld, match="start the daemon once"):
        StoreReader(path)


def test_the_database_of_another_program_is_refused(connection: Connection) -> None:
    """A file that holds other tables is left alone."""
    connection.run("CREATE TABLE addresses (name TEXT)")
    with pytest.raises(StoreDamaged, match="not a store of this program"):
        migrate(connection)
    assert objects(connection) == ["addresses"]
