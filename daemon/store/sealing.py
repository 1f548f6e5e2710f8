"""How does a day that is over become one compressed block, in small steps that may be cut off anywhere?"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from daemon.store.columns import Columns, pack
from daemon.store.connection import Connection
from daemon.store.cursor import owe, position
from daemon.store.history import ROW, days_of_rows, merge, sealed, table
from rules.durations import DAY, HOUR

SEAL_AFTER = 2 * HOUR
"""How long past a UTC day's end its rows stay rows: most that come late have come by then."""


_FLAGS_OWED = "SELECT count(*) FROM owed_flag WHERE seq BETWEEN ? AND ?"


@dataclass(frozen=True, slots=True)
class SealedDay:
    """One day of one point that became a block. `point` is the store's number; `size` in bytes."""

    point: int
    day: int
    readings: int
    size: int


class Sealer:
    """Seals days one point at a time. Late readings of a sealed day are folded in once a UTC day, not one by one."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._looked: int | None = None
        self._left: deque[tuple[int, int]] = deque()

    def step(self, now: int) -> SealedDay | None:
        """Seal one point's next day that is over at `now` (ms UTC); None when there is nothing to do at present."""
        today = (now - SEAL_AFTER) // DAY
        if self._looked != today:
            self._looked = today
            self._left = deque(self._over(today))
        while self._left:
            point, day = self._left.popleft()
            done = self._seal(point, day)
            if done is not None:
                return done
        return None

    def _over(self, today: int) -> list[tuple[int, int]]:
        points = [point for (point,) in self._connection.rows("SELECT id FROM point")]
        end = today * DAY - 1
        found = [(point, day) for point in points for day in days_of_rows(self._connection, point, -(2**63), end)]
        return sorted(found, key=lambda pair: (pair[1], pair[0]))

    def _seal(self, point: int, day: int) -> SealedDay | None:
        start, end = day * DAY - 1, day * DAY + DAY - 1
        # Read and compressed before the transaction, which then is short; nobody else changes rows or blocks.
        rows = self._connection.rows(
            f"SELECT {ROW}, seq FROM reading WHERE point = ? AND time > ? AND time <= ? ORDER BY time",
            (point, start, end),
        )
        if not rows:
            return None
        blocks = dict(sealed(self._connection, point, day))
        days = {
            series: merge([blocks[series], columns] if series in blocks else [columns])
            for series, columns in table(rows)
        }
        packed = {series: pack(whole) for series, whole in days.items()}
        seqs = [row[-1] for row in rows]
        with self._connection.transaction():
            owed = self._owed(point, day, min(seqs), max(seqs))
            if owed is None:
                return None
            for series, whole in days.items():
                self._write(point, day, series, whole, packed[series], owed)
            self._connection.run_many("DELETE FROM reading WHERE seq = ?", [(seq,) for seq in seqs])
        return SealedDay(point, day, sum(len(d.times) for d in days.values()), sum(map(len, packed.values())))

    def _write(self, point: int, day: int, series: int, whole: Columns, data: bytes, owed: bool) -> None:
        ends = (int(whole.times[0]), int(whole.times[-1]))
        self._connection.run(
            "INSERT INTO block (point, day, series, readings, first, last, columns) VALUES (?, ?, ?, ?, ?, ?, ?) "
            "ON CONFLICT (point, day, series) DO UPDATE SET readings = excluded.readings, first = excluded.first, "
            "last = excluded.last, columns = excluded.columns",
            (point, day, series, len(whole.times), *ends, data),
        )
        if owed:
            owe(self._connection, point, day, series)

    def _owed(self, point: int, day: int, low: int, high: int) -> bool | None:
        """Whether the forwarder owes the whole day; None where it owes a part of it, and the day must wait.

        low, high: the first and last row in order of commits.
        """
        where = position(self._connection)
        if where is None:
            return False
        seq, reaching = where
        blocks = self._connection.rows(
            "SELECT id IN (SELECT id FROM owed_block) FROM block WHERE point = ? AND day = ?", (point, day)
        )
        states = {bool(owed) for (owed,) in blocks}
        if self._connection.value(_FLAGS_OWED, (low, high)):
            return None
        if high <= seq:
            states.add(False)
        elif low > reaching:
            states.add(True)
        else:
            return None
        return states.pop() if len(states) == 1 else None
