"""How does each adapter stand, for the log and for whoever asks from another process?"""

from __future__ import annotations

import json
import logging
import os
import time
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import NamedTuple

from adapters.intake import Health

WRITE_EVERY = 60.0
"""Seconds between two writings while nothing changes; a memory card does not last for ever."""
_LEAST = 10.0
"""Seconds between two writings, or two lines of the log about one adapter, however fast states change."""

_log = logging.getLogger("tidebed.adapters")


class AdapterState(NamedTuple):
    """One adapter as it stood at `time` (ms UTC, the board's clock); the rest as in adapters.intake.Health."""

    time: int
    name: str
    state: str
    received: int
    refused: Mapping[str, int]
    last_error: str


def states_path(store: Path) -> Path:
    """Where the states stand: beside the store's file."""
    return store.with_name(f"{store.name}.adapters.json")


def read_states(store: Path) -> list[AdapterState]:
    """What the daemon of this store wrote last; nothing where it wrote nothing that can be read."""
    try:
        found = json.loads(states_path(store).read_text(encoding="utf-8"))
        return [AdapterState(**{**one, "time": found["time"]}) for one in found["adapters"]]
    except (OSError, ValueError, KeyError, TypeError):
        return []


class AdapterStates:
    """Tells the log when an adapter's state changes, and keeps the file up to date. For one thread."""

    def __init__(self, store: Path, *, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._path = states_path(store)
        self._monotonic = monotonic
        self._told: dict[str, tuple[str, float]] = {}
        """name -> (state, when the log was told)."""
        self._written: tuple[tuple[str, str, bool, int], ...] = ()
        self._at = -WRITE_EVERY
        self._complained = False

    def look(self, adapters: Iterable[Health], *, last: bool = False) -> None:
        """Every half second or so. last: write in any case."""
        now, all_of_them = self._monotonic(), list(adapters)
        for health in all_of_them:
            self._tell(health, now)
        # A first reading and a first refusal of its cause are changes; later ones wait.
        states = tuple((one.name, one.state, one.received > 0, len(one.refused)) for one in all_of_them)
        wait = WRITE_EVERY if states == self._written else _LEAST
        if last or now - self._at >= wait:
            self._written, self._at = states, now
            self._write(all_of_them)

    def _tell(self, health: Health, now: float) -> None:
        state, at = self._told.get(health.name, ("", -_LEAST))
        if health.state == state or now - at < _LEAST or (not state and health.state == "starting"):
            return
        self._told[health.name] = (health.state, now)
        why = f": {health.last_error}" if health.last_error and health.state != "connected" else ""
        level = logging.WARNING if health.state in ("waiting", "failed") else logging.INFO
        _log.log(level, "adapter %s: %s%s", health.name, health.state, why)

    def _write(self, adapters: Iterable[Health]) -> None:
        listed = [
            {"name": one.name, "state": one.state, "received": one.received, "refused": dict(one.refused),
             "last_error": one.last_error}
            for one in adapters
        ]  # fmt: skip
        new = self._path.with_name(f"{self._path.name}.new")
        try:
            new.write_text(json.dumps({"time": round(time.time() * 1000), "adapters": listed}), encoding="utf-8")
            os.replace(new, self._path)
        except OSError as error:
            if not self._complained:
                _log.warning("the states of the adapters cannot be written: %s", error)
            self._complained = True
        else:
            self._complained = False
