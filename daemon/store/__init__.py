"""Where do readings, the log, the checkpoint and what is owed to people live? In one SQLite file."""

from daemon.store.errors import StoreError
from daemon.store.inbox import hand_in
from daemon.store.reader import StoreReader
from daemon.store.sendings import Sending, State
from daemon.store.store import Committed, Store

__all__ = ["Committed", "Sending", "State", "Store", "StoreError", "StoreReader", "hand_in"]
