"""What can be seen of the store, by the daemon and beside it?"""

from __future__ import annotations

import contextlib
import zlib
from collections.abc import Iterable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any, Self

from daemon.store import cursor, inbox, log, schema, sendings
from daemon.store.connection import Connection
from daemon.store.errors import StoreMissing, damaged
from daemon.store.history import History, damaged_days
from daemon.store.sendings import Sending, State
from daemon.store.series import numbered
from rules.acts import Act, ActKind
from rules.block import Block
from rules.calibration import Record
from rules.calibrations import by_point
from rules.events import Event
from rules.plan import PointPlan


class StoreReader:
    """A look at the store at `path` while the daemon writes it; for one thread. It is a rules.block.Source.

    points: in which unit and resolution points are read; one that is not named is read as it was last stored.
    """

    _as_of: int | None = None

    def __init__(self, path: Path, points: Iterable[PointPlan] = (), *, as_of: int | None = None) -> None:
        """as_of: of calibrations only what was entered by then counts (ms UTC; None: all).

        Raises StoreMissing, StoreDamaged, StoreOld, StoreTooNew.
        """
        with contextlib.ExitStack() as undo:
            self._open(Connection(path, read_only=True))
            undo.callback(self._connection.close)
            schema.require_present(self._connection)
            undo.pop_all()
        self._as_of = as_of
        self._read_as(points)

    def _open(self, connection: Connection) -> None:
        self._connection = connection
        self._targets: dict[str, tuple[str, Fraction]] = {}

    def _read_as(self, points: Iterable[PointPlan]) -> None:
        self._targets = {point.id: (point.units.symbol, point.resolution) for point in points}
        self._learn_calibrations()

    def _learn_calibrations(self) -> None:
        self._history = History(self._connection, self._targets, self.calibrations())

    def calibrations(self) -> dict[str, list[Record]]:
        """point -> its calibrations as known, in order of when they hold."""
        return by_point(log.find_kind(self._connection, ActKind.CALIBRATE), self._as_of)

    @property
    def path(self) -> Path:
        """The store's file."""
        return self._connection.path

    def close(self) -> None:
        """Close; idempotent."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def points(self) -> list[str]:
        """The points that have readings here."""
        return self._history.points()

    def require_fitting(self, points: Iterable[PointPlan]) -> None:
        """Raises QuantityChanged where the history of one of the points measures something else."""
        for point in points:
            numbered(self._connection, point)

    def watched(self) -> list[str]:
        """The points that a daemon has watched, whether or not it ever heard them."""
        return self._history.watched()

    def span(self) -> tuple[int, int] | None:
        """First and last time over all points in ms UTC, or None when there is nothing."""
        return self._history.span()

    def read(self, point: str, after: int, upto: int) -> Iterator[Block]:
        """A block for each UTC day of `point` with readings in after < time <= upto, in order of time, as they came."""
        return self._history.read(point, after, upto)

    def read_final(self, point: str, after: int, upto: int) -> Iterator[Block]:
        """As `read`, with the flags with which readings ended when the daemon judged them."""
        return self._history.read_final(point, after, upto)

    def behind(self, point: str, after: int, upto: int) -> list[tuple[int, int]]:
        """(time, instant from which rules could know it) of each reading that came behind the frontier."""
        return self._history.behind(point, after, upto)

    def latest(self, point: str) -> tuple[int, int, int] | None:
        """(time, counts, flag) of the newest reading of `point`, or None."""
        return self._history.latest(point)

    def events(
        self,
        after: int | None = None,
        upto: int | None = None,
        *,
        rule: str | None = None,
        type: str | None = None,
        limit: int | None = None,
    ) -> list[Event]:
        """The newest `limit` events with after < t <= upto of a rule or stage and a type, oldest first."""
        return log.find_events(self._connection, after, upto, rule, type, limit)

    def acts(self, after: int | None = None, upto: int | None = None) -> list[Act]:
        """Acts with after < time <= upto, and `off` spans that began earlier and reach into it."""
        return log.find_acts(self._connection, after, upto)

    def checkpoint(self) -> dict[str, Any] | None:
        """The engine's state as of the last commit that had one, or None. Raises StoreDamaged."""
        state = self._connection.value("SELECT state FROM checkpoint")
        if state is None:
            return None
        try:
            text = zlib.decompress(state)
        except zlib.error as error:
            raise damaged(self.path, f"its checkpoint: {error}") from error
        found: dict[str, Any] = log.read_json(self._connection, text)
        return found

    def meta(self, key: str) -> str | None:
        """What was last kept under `key`, such as the plan's fingerprint."""
        found: str | None = self._connection.value("SELECT value FROM meta WHERE key = ?", (key,))
        return found

    def inbox(self) -> list[tuple[int, Act]]:
        """(number, act) of what other processes have handed in and no commit has taken yet, in order."""
        return inbox.waiting(self._connection)

    def unsent(self) -> list[Sending]:
        """Messages that are owed or being tried, in order."""
        return sendings.unsent(self._connection)

    def sending(self, number: int) -> Sending | None:
        """The message of a number, whatever became of it."""
        return sendings.numbered(self._connection, number)

    def sendings_called(self, message_id: str) -> list[Sending]:
        """The messages of an id, whatever became of them."""
        return sendings.called(self._connection, message_id)

    def refused(self) -> list[Sending]:
        """Messages that were refused for good and set aside."""
        return sendings.refused(self._connection)

    def tally(self) -> dict[str, dict[State, int]]:
        """purpose -> state -> how many messages."""
        return sendings.tally(self._connection)

    def debt(self) -> cursor.Debt:
        """How far forwarding to the remote store is behind."""
        return cursor.debt(self._connection)

    def damaged_days(self) -> list[str]:
        """The sealed days whose bytes are not those that were written, as `2026-04-04 of tank.oxygen`."""
        return damaged_days(self._connection)

    def backup(self, path: Path) -> None:
        """Write a consistent copy as one file to `path`, in its place only when it is whole and sound.

        Raises StoreFull, StoreMissing, StoreDamaged, StoreError.
        """
        part = path.with_name(path.name + ".part")
        part.unlink(missing_ok=True)
        # A reader of its own: the copy is one snapshot, and the daemon goes on writing meanwhile.
        connection = Connection(self.path, read_only=True)
        try:
            connection.copy_to(part)
            part.replace(path)
        except OSError as error:
            raise StoreMissing(
                f"the backup cannot be written to {path}: {error.strerror}; name another place"
            ) from error
        finally:
            connection.close()
            part.unlink(missing_ok=True)
