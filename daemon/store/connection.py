"""How is the store's file opened, and how is a transaction made whole or not at all?"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from daemon.store.errors import StoreError, StoreMissing, damaged, explain

PATIENCE = 10.0
"""Seconds to wait for another process's short transaction."""


class Connection:
    """One SQLite connection to the store at `path`, for one thread. Every error comes out as a StoreError."""

    def __init__(self, path: Path, *, read_only: bool = False, patience: float = PATIENCE) -> None:
        """Opens the file, which a writer creates. Raises StoreMissing, StoreDamaged, StoreReadOnly or StoreError."""
        self.path = path
        self.read_only = read_only
        if read_only and not path.exists():
            raise StoreMissing(f"there is no store at {path}; it appears once the daemon has run")
        uri = f"{path.absolute().as_uri()}?mode={'ro' if read_only else 'rwc'}"
        with self._reporting():
            self._sqlite = sqlite3.connect(uri, uri=True, timeout=patience, isolation_level=None)
        try:
            self._prepare()
        except StoreError:
            self._sqlite.close()
            raise

    def _prepare(self) -> None:
        if self.read_only:
            self.rows("SELECT count(*) FROM sqlite_master")
            return
        # Small pages, because most commits change a few bytes of a few pages; it holds for a new file only.
        self.run("PRAGMA page_size = 2048")
        mode = self.value("PRAGMA journal_mode = WAL")
        if mode != "wal":
            raise StoreError(f"the file system of {self.path} cannot keep a write-ahead log; move it to a local disk")
        # An acknowledged reading must outlive a power cut: every commit waits for the disk.
        self.run("PRAGMA synchronous = FULL")
        # The loop moves the log's pages into the file between commits that nobody waits for (Store.tidy); this is for
        # when it cannot.
        self.run("PRAGMA wal_autocheckpoint = 8000")

    @contextlib.contextmanager
    def _reporting(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise explain(error, self.path) from error

    def close(self) -> None:
        """Close; idempotent."""
        self._sqlite.close()

    def run(self, sql: str, values: Sequence[object] = ()) -> int:
        """Run one statement; returns how many rows it changed."""
        with self._reporting():
            return self._sqlite.execute(sql, values).rowcount

    def run_many(self, sql: str, values: Iterable[Sequence[object]]) -> int:
        """Run one statement for each of `values`; returns how many rows were changed in all."""
        with self._reporting():
            return self._sqlite.executemany(sql, values).rowcount

    def rows(self, sql: str, values: Sequence[object] = ()) -> list[Any]:
        """Every row of one query, as tuples."""
        with self._reporting():
            return self._sqlite.execute(sql, values).fetchall()

    def row(self, sql: str, values: Sequence[object] = ()) -> Any:
        """The first row of one query, or None."""
        with self._reporting():
            return self._sqlite.execute(sql, values).fetchone()

    def value(self, sql: str, values: Sequence[object] = ()) -> Any:
        """The first column of the first row, or None."""
        row = self.row(sql, values)
        return None if row is None else row[0]

    @contextlib.contextmanager
    def transaction(self) -> Iterator[None]:
        """Everything in the block is on disk when it ends, or nothing of it where it raises."""
        self.run("BEGIN IMMEDIATE")
        try:
            yield
            self.run("COMMIT")
        except BaseException:
            # A full disk has SQLite roll back by itself; then there is nothing left to undo.
            if self._sqlite.in_transaction:
                self.run("ROLLBACK")
            raise

    @contextlib.contextmanager
    def snapshot(self) -> Iterator[None]:
        """Queries in the block see one state of the store, whatever is committed meanwhile."""
        if self._sqlite.in_transaction:
            yield
            return
        self.run("BEGIN")
        try:
            yield
        finally:
            self.run("COMMIT")

    def copy_to(self, path: Path) -> None:
        """Write a consistent copy to `path`, which must not exist, as one lone file."""
        with self._reporting():
            copy = sqlite3.connect(path, isolation_level=None)
            try:
                self._sqlite.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")
                (verdict,) = copy.execute("PRAGMA quick_check").fetchone()
            finally:
                copy.close()
        if verdict != "ok":
            # Nearly always the copy is as the store is.
            raise damaged(self.path, "; ".join(verdict.splitlines()[1:]) or verdict)
