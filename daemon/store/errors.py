"""What can go wrong with the store? Each error says what happened, to which file, and how to mend it."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from rules.errors import TidebedError


class StoreError(TidebedError):
    """Something is wrong with the store."""


class StoreMissing(StoreError):
    """There is no store at that path, or it cannot be opened."""


class StoreFull(StoreError):
    """The disk has no room left. Nothing of the refused commit was written."""


class StoreReadOnly(StoreError):
    """The store cannot be written: a read-only file system, missing rights, or a reader's view."""


class StoreDamaged(StoreError):
    """What is on disk is no longer what was written."""


class StoreBusy(StoreError):
    """Another process held the store for too long, or another daemon owns it."""


class StoreFailing(StoreError):
    """The disk answered with an error."""


class StoreTooNew(StoreError):
    """The store was written by a later version of the program."""


class StoreOld(StoreError):
    """The store was written by an earlier version and has not been brought up to date."""


class QuantityChanged(StoreError):
    """A point would change what it measures; its history means something else."""


MEND = "stop the daemon and put the last backup in its place (tidebed restore)"
"""What a person does about a damaged store."""


def damaged(path: Path, what: str) -> StoreDamaged:
    """The StoreDamaged that tells a person what is wrong within the store at `path`."""
    return StoreDamaged(f"{path} is damaged or no store ({what.splitlines()[0][:100]}); {MEND}")


def explain(error: sqlite3.Error, path: Path) -> StoreError:
    """The StoreError that tells a person what `error` means for the store at `path`."""
    code = getattr(error, "sqlite_errorcode", None)
    primary = None if code is None else code & 0xFF
    if primary == sqlite3.SQLITE_FULL:
        return StoreFull(f"no room left to write {path}; free some space on its disk, nothing stored was lost")
    if primary == sqlite3.SQLITE_READONLY:
        return StoreReadOnly(f"{path} cannot be written; see that its disk is mounted read-write and who owns the file")
    # Text that is none has no code of its own.
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB) or "decode to UTF-8" in str(error):
        return damaged(path, str(error))
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreBusy(f"{path} is held by another process; try again, or end the process that holds it")
    if primary == sqlite3.SQLITE_CANTOPEN:
        return StoreMissing(f"{path} cannot be opened; see that its folder exists and may be entered and written")
    if primary == sqlite3.SQLITE_IOERR:
        return StoreFailing(
            f"the disk that holds {path} answered with an error ({error}); save a backup, change the disk"
        )
    return StoreError(f"{path}: {error}")
