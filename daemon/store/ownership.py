"""Who may write the store? One process at a time, for as long as it lives."""

from __future__ import annotations

import fcntl
from pathlib import Path
from typing import IO

from daemon.store.errors import StoreBusy, StoreMissing


def own(path: Path) -> IO[str]:
    """Ownership of the store at `path`, held until the returned file is closed or the process ends, however it ends.

    Raises StoreBusy where another process has it, StoreMissing where its folder cannot be written.
    """
    try:
        lock = path.with_name(path.name + ".lock").open("w")
    except OSError as error:
        raise StoreMissing(f"{path} cannot be opened: {error.strerror}; see that its folder exists") from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        lock.close()
        raise StoreBusy(f"another daemon owns the store {path}; stop it first, or name another store") from None
    return lock
