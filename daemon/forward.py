"""How does every reading get to the remote store, however long the link was down, while the site goes on alone?"""

from __future__ import annotations

import logging
import random
import threading
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from adapters.backoff import wait_before
from adapters.line_protocol import lines
from adapters.remote_store import Answer, Remote
from daemon.store import StoreError
from daemon.store.connection import Connection
from daemon.store.cursor import Batch, Debt, begin, debt, forwarded, next_block, next_flags, next_rows
from daemon.store.history import converted
from daemon.store.log import find_kind
from rules.acts import ActKind
from rules.calibrations import by_point
from rules.plan import PointPlan

LONGEST_WAIT = 60.0
"""Seconds after which a link that is back is noticed at the latest."""

NOTHING = Debt(0, 0)

_log = logging.getLogger("tidebed.forward")


@dataclass(frozen=True, slots=True)
class ForwardHealth:
    """What the forwarder knows about itself; shown in the health line.

    state: starting, connected, waiting (the link is down) or stopped; accepted and refused: readings since the start;
    owed: as of the last look.
    """

    state: str = "starting"
    accepted: int = 0
    refused: int = 0
    owed: Debt = NOTHING
    last_error: str = ""


class Forwarder:
    """Follows the store's commits with a cursor of its own, on a thread and a connection of its own.

    Readings go in the order in which they were committed, so one that came behind goes like any other; where the
    quality tests say something else of it later, it goes once more with that flag. Days that were sealed while the
    link was down go whole. After a crash the last batch goes again: to a server that keeps one value a time, as the
    API says, that changes nothing.
    """

    def __init__(
        self,
        path: Path,
        remote: Remote,
        site: str,
        *,
        points: Iterable[PointPlan] = (),
        every: float = 10.0,
        most: int = 5000,
        rng: random.Random | None = None,
    ) -> None:
        """path: the store's file; site: the tag that tells sites apart; every: seconds between batches.

        points: those whose readings go as calibrated, by what is known when they go; others go as they are kept.
        """
        self._points = {point.id: point for point in points}
        self._path, self._remote, self._site, self._every, self._most = path, remote, site, every, most
        self._rng = rng or random.Random()
        self._connection: Connection | None = None
        self._batch: Batch | None = None
        self._pieces: deque[list[str]] = deque()
        """What of the batch has not been answered yet."""
        self._failures = 0
        self._hurry = False
        self._health = ForwardHealth()
        self._halt = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to forward; everything in the store is owed from now on."""
        self._thread = threading.Thread(target=self._run, name="forwarder")
        self._thread.start()

    def stop(self) -> None:
        """Stop after the request that is under way; idempotent."""
        self._halt.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def health(self) -> ForwardHealth:
        """A snapshot."""
        return self._health

    def step(self) -> float:
        """Send at most one request; returns the seconds until the next makes sense. Raises StoreError."""
        connection = self._open()
        if self._batch is None:
            self._batch = (
                next_rows(connection, self._most) or next_flags(connection, self._most) or next_block(connection)
            )
            self._health = replace(self._health, owed=debt(connection))
            if self._batch is None:
                return self._every
            self._cut(self._batch)
        if self._pieces and not self._send():
            self._failures += 1
            return wait_before(self._failures, self._rng.random(), LONGEST_WAIT)
        # After an outage there is more to send than this batch, which was cut when it began.
        self._hurry |= self._failures > 0
        self._failures = 0
        if self._pieces:
            return 0.0
        batch, self._batch = self._batch, None
        forwarded(connection, batch)
        more = self._hurry or len(batch) >= self._most or self._health.owed.days > 0
        self._hurry = False
        return 0.0 if more else self._every

    def close(self) -> None:
        """Close the connection; on the thread that stepped."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _run(self) -> None:
        trouble = 0
        left = 0.0
        while not self._halt.wait(left):
            try:
                left = self.step()
                trouble = 0
            except StoreError as error:
                trouble += 1
                left = wait_before(trouble, self._rng.random(), LONGEST_WAIT)
                self._failed(f"forwarding waits for the store: {error}")
        self._health = replace(self._health, state="stopped")
        self.close()

    def _open(self) -> Connection:
        if self._connection is None:
            connection = Connection(self._path)
            begin(connection)
            self._connection = connection
        return self._connection

    def _cut(self, batch: Batch) -> None:
        text: list[str] = []
        known = by_point(find_kind(self._open(), ActKind.CALIBRATE))
        for series, columns in batch.parts:
            unit, resolution = series.unit, series.resolution
            plan = self._points.get(series.name)
            if plan is not None and (series.name in known or plan.raw is not plan):
                unit, resolution = plan.units.symbol, plan.resolution
                columns = converted(columns, series, (unit, resolution), known.get(series.name, ()))
            tags = {"site": self._site, "point": series.name, "quantity": series.quantity, "unit": unit}
            text += lines(tags, resolution, columns.times, columns.values, columns.last_flags())
        self._pieces.extend(text[start : start + self._most] for start in range(0, len(text), self._most))

    def _send(self) -> bool:
        """Whether the oldest piece was settled, be it by cutting it in two."""
        piece = self._pieces[0]
        written = self._remote.write(piece)
        if written.answer is Answer.ACCEPTED:
            self._pieces.popleft()
            self._health = replace(
                self._health, state="connected", accepted=self._health.accepted + len(piece), last_error=""
            )
            return True
        # Until a server has taken something, a refusal is more likely a wrong setting than a wrong reading.
        trusted = self._health.accepted > 0
        if written.answer is Answer.TOO_LARGE and len(piece) > 1:
            half = len(piece) // 2
            self._pieces[0] = piece[half:]
            self._pieces.appendleft(piece[:half])
            return True
        if written.answer is Answer.PARTLY or (written.answer is Answer.TOO_LARGE and trusted):
            self._pieces.popleft()
            self._health = replace(self._health, state="connected", refused=self._health.refused + len(piece))
            self._failed(f"up to {len(piece)} readings were refused by the remote store: {written.reason}")
            return True
        self._health = replace(self._health, state="waiting")
        self._failed(f"readings wait for the remote store: {written.reason}")
        return False

    def _failed(self, text: str) -> None:
        if text != self._health.last_error:
            _log.warning("%s", text)
        self._health = replace(self._health, last_error=text)
