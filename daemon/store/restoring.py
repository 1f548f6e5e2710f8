"""How does a backup take the place of a store that is damaged or lost?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from daemon.store.connection import Connection
from daemon.store.errors import StoreDamaged, StoreMissing
from daemon.store.ownership import own
from daemon.store.reader import StoreReader
from daemon.store.sendings import doubt_owed

_BESIDE = ("-wal", "-shm")
"""What SQLite keeps beside a store. Left there, it would be read as part of the backup, which it damages."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What was done. judged: up to which instant (ms UTC) the backup holds what was judged, None where nothing was.

    aside: where the former store is now, None where there was none; doubtful: messages that were not sent when the
    backup was made, and may have been since.
    """

    judged: int | None
    aside: Path | None
    doubtful: int


def restore(path: Path, backup: Path, stamp: str) -> Restored:
    """Put a copy of `backup` in the place of the store at `path`; the former one is kept, its name ending in `stamp`.

    Raises StoreBusy while a daemon owns the store, StoreMissing, StoreDamaged, StoreOld and StoreTooNew for the backup,
    StoreFull; nothing has changed then.
    """
    if backup.resolve() == path.resolve():
        raise StoreMissing(f"{backup} is the store itself; name a backup of it")
    lock = own(path)
    part = path.with_name(f"{path.name}.part")
    part.unlink(missing_ok=True)
    try:
        with StoreReader(backup) as source:
            damaged = source.damaged_days()
            if damaged:
                raise StoreDamaged(f"{backup} is damaged itself ({damaged[0]}); name an earlier backup")
            saved = source.checkpoint()
            source.backup(part)
        copy = Connection(part)
        try:
            doubtful = doubt_owed(copy)
            # One lone file again, so that nothing of it is left beside.
            copy.run("PRAGMA journal_mode = DELETE")
        finally:
            copy.close()
        aside = _put_aside(path, stamp)
        part.replace(path)
    except OSError as error:
        raise StoreMissing(f"{path} cannot be put in place: {error.strerror}; see who owns its folder") from error
    finally:
        part.unlink(missing_ok=True)
        lock.close()
    return Restored(None if saved is None else int(saved["frontier"]), aside, doubtful)


def _put_aside(path: Path, stamp: str) -> Path | None:
    aside, number = path.with_name(f"{path.name}.{stamp}"), 1
    while aside.exists():
        number += 1
        aside = path.with_name(f"{path.name}.{stamp}.{number}")
    for beside in _BESIDE:
        former = path.with_name(path.name + beside)
        if former.exists():
            former.rename(aside.with_name(aside.name + beside))
    if not path.exists():
        return None
    path.rename(aside)
    return aside
