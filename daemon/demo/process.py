"""How is the real daemon started beside the demonstration, and how are its events heard?"""

from __future__ import annotations

import datetime as dt
import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Self

from daemon.store import StoreError, StoreReader

_STOP_WITHIN = 30.0
_ONLY_OURS = ("TIDEBED_", "CREDENTIALS_DIRECTORY", "JOURNAL_STREAM")
"""What the daemon could find somebody's real phone by, or take for a service manager, is kept from it."""

Line = Mapping[str, Any]
"""One event as the contract's JSON object."""


def instant(line: Line) -> int:
    """The time of an event line, ms UTC."""
    return round(dt.datetime.fromisoformat(line["t"]).timestamp() * 1000)


class DaemonProcess:
    """`tidebed run` on a site file, with a played clock, in a process of its own."""

    def __init__(self, site: Path, log: Path, ways: Mapping[str, str], heard: Callable[[Line], None]) -> None:
        """ways: way -> address; heard: called with each event on a thread of its own, once it is on disk."""
        self._command = [sys.executable, "-m", "daemon.main", "run", str(site), "--played-clock", "--json"]
        self._log = log
        kept = {key: value for key, value in os.environ.items() if not key.startswith(_ONLY_OURS)}
        self._environment = kept | {f"TIDEBED_WAY_{way.upper()}": address for way, address in ways.items()}
        self._heard = heard
        self._process: subprocess.Popen[str] | None = None
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Start it; returns at once."""
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                self._command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=log,
                env=self._environment,
                encoding="utf-8",
                start_new_session=True,
            )
        self._thread = threading.Thread(target=self._listen, args=(self._process,), name="events", daemon=True)
        self._thread.start()

    @property
    def is_running(self) -> bool:
        """Whether it has not ended."""
        return self._process is not None and self._process.poll() is None

    def stop(self) -> None:
        """Ask it to end, and wait until all its events are heard; idempotent."""
        if self._process is None:
            return
        self._process.terminate()
        try:
            self._process.wait(_STOP_WITHIN)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._thread is not None:
            self._thread.join()
        if self._process.stdout is not None:
            self._process.stdout.close()
        self._process = None

    def last_words(self) -> str:
        """The end of its log."""
        lines = self._log.read_text(encoding="utf-8", errors="replace").splitlines()
        return " / ".join(lines[-3:]) or "nothing"

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _listen(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        for line in process.stdout:
            self._heard(json.loads(line))


class Progress:
    """How far the daemon is, as its store tells; for one thread."""

    def __init__(self, store: Path) -> None:
        self._path = store
        self._reader: StoreReader | None = None

    def judged(self) -> int | None:
        """Up to which instant (ms UTC) everything is judged and on disk; None before anything is."""
        reader = self._open()
        saved = None if reader is None else reader.checkpoint()
        return None if saved is None else int(saved["frontier"])

    def unsent(self) -> int:
        """How many messages have not been delivered yet."""
        reader = self._open()
        return 0 if reader is None else len(reader.unsent())

    def close(self) -> None:
        """Close the store; idempotent."""
        if self._reader is not None:
            self._reader.close()
            self._reader = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _open(self) -> StoreReader | None:
        if self._reader is None:
            try:
                self._reader = StoreReader(self._path)
            except StoreError:
                # Not there yet, or just being made.
                return None
        return self._reader
