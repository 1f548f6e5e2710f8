"""How are rows and sealed days read back as one stretch of readings?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from daemon.store.columns import NOT_BEHIND, NOT_SAID, Columns, Damaged, is_whole, unpack
from daemon.store.connection import Connection
from daemon.store.errors import MEND, StoreDamaged
from daemon.store.series import Series, every_series, through
from rules.block import Block
from rules.calibration import Record
from rules.calibrations import read_through
from rules.durations import DAY
from rules.events import show_time
from rules.flags import Flag
from rules.units import parse_unit

ROW = "series, time, value, flag, effective, judged, final"
"""The columns of the table `reading` from which `table` makes columns."""

_DAYS_AT_ONCE = 32

Target = tuple[str, Fraction]
"""The unit and resolution in which a point is read."""


def sealed(connection: Connection, point: int, day: int) -> list[tuple[int, Columns]]:
    """(series, columns) of each block of a point's day. Raises StoreDamaged."""
    found = packed(connection, point, day, day).get(day, [])
    return [(series, unpacked(connection, point, day, data)) for series, data in found]


def packed(connection: Connection, point: int, first: int, last: int) -> dict[int, list[tuple[int, bytes]]]:
    """day -> (series, bytes) of each block, for the days of a point from `first` to `last`."""
    found: dict[int, list[tuple[int, bytes]]] = {}
    for day, series, data in connection.rows(
        "SELECT day, series, columns FROM block WHERE point = ? AND day BETWEEN ? AND ? ORDER BY day, series",
        (point, first, last),
    ):
        found.setdefault(day, []).append((series, data))
    return found


def unpacked(connection: Connection, point: int, day: int, data: bytes) -> Columns:
    """The columns of a point's sealed day. Raises StoreDamaged, which names both."""
    try:
        return unpack(data)
    except Damaged as error:
        name = connection.value("SELECT name FROM point WHERE id = ?", (point,))
        raise StoreDamaged(
            f"the sealed day {show_time(day * DAY)[:10]} of {name} in {connection.path} is damaged ({error}); {MEND}"
        ) from error


def damaged_days(connection: Connection) -> list[str]:
    """The sealed days whose bytes are not those that were written, as `2026-04-04 of tank.oxygen`."""
    found = []
    names = dict(connection.rows("SELECT id, name FROM point"))
    for number, point, day in connection.rows("SELECT id, point, day FROM block ORDER BY day, point"):
        # One at a time: all the days of years together need not fit into memory.
        if not is_whole(connection.value("SELECT columns FROM block WHERE id = ?", (number,))):
            found.append(f"{show_time(day * DAY)[:10]} of {names.get(point, point)}")
    return found


def unsealed(connection: Connection, point: int, after: int, upto: int) -> list[tuple[int, Columns]]:
    """(series, columns) of the rows of a point with after < time <= upto, in order of time within each series."""
    rows = connection.rows(
        f"SELECT {ROW} FROM reading WHERE point = ? AND time > ? AND time <= ? ORDER BY time",
        (point, after, upto),
    )
    return table(rows)


def table(rows: list[Any]) -> list[tuple[int, Columns]]:
    """(series, columns) of rows that begin with ROW and are in order of time."""
    if not rows:
        return []
    series = np.fromiter((row[0] for row in rows), np.int64, len(rows))
    columns = Columns(
        np.fromiter((row[1] for row in rows), np.int64, len(rows)),
        np.fromiter((row[2] for row in rows), np.int64, len(rows)),
        np.fromiter((row[3] for row in rows), np.uint8, len(rows)),
        np.fromiter((NOT_BEHIND if row[4] is None else row[4] for row in rows), np.int64, len(rows)),
        np.fromiter((row[5] or NOT_SAID for row in rows), np.uint8, len(rows)),
        np.fromiter((row[6] or NOT_SAID for row in rows), np.uint8, len(rows)),
    )
    return [(int(one), take(columns, series == one)) for one in np.unique(series)]


def take(columns: Columns, chosen: NDArray[np.bool_] | NDArray[np.intp] | slice) -> Columns:
    """The chosen readings, in the order chosen."""
    times, values, flags, effective, judged, final = columns
    return Columns(times[chosen], values[chosen], flags[chosen], effective[chosen], judged[chosen], final[chosen])


def merge(parts: Iterable[Columns]) -> Columns:
    """The readings of all parts in order of time; no two parts hold the same time."""
    listed = list(parts)
    if len(listed) == 1:
        return listed[0]
    joined = Columns(*(np.concatenate(column) for column in zip(*listed, strict=True)))
    return take(joined, np.argsort(joined.times, kind="stable"))


class History:
    """All readings of the store as a Source, raw ones read through the calibrations that hold for their times.

    targets: in what unit and resolution a point is read; left out, the newest in which it was kept, as it was kept.
    """

    def __init__(
        self,
        connection: Connection,
        targets: Mapping[str, Target] | None = None,
        records: Mapping[str, Sequence[Record]] | None = None,
    ) -> None:
        """records: point -> its calibrations, for points that `targets` names."""
        self._connection = connection
        self._targets = dict(targets or {})
        self._records = dict(records or {})
        # A series never changes once it is there; a new one is looked up when a reading points to it.
        self._series: dict[int, Series] = {}

    def points(self) -> list[str]:
        """The points that have readings here."""
        return [
            name
            for (name,) in self._connection.rows(
                "SELECT name FROM point WHERE EXISTS (SELECT 1 FROM reading WHERE point = point.id) "
                "OR EXISTS (SELECT 1 FROM block WHERE point = point.id) ORDER BY id"
            )
        ]

    def watched(self) -> list[str]:
        """The points that have a place here, with readings or without."""
        return [name for (name,) in self._connection.rows("SELECT name FROM point ORDER BY id")]

    def span(self) -> tuple[int, int] | None:
        """First and last time over all points in ms UTC, or None when there is nothing."""
        with self._connection.snapshot():
            numbers = [number for (number,) in self._connection.rows("SELECT id FROM point")]
            firsts = [time for number in numbers for time in self._ends(number, "MIN", "first")]
            lasts = [time for number in numbers for time in self._ends(number, "MAX", "last")]
        return (min(firsts), max(lasts)) if firsts else None

    def read(self, point: str, after: int, upto: int) -> Iterator[Block]:
        """A block for each UTC day of `point` with readings in after < time <= upto, in order of time.

        Their flags are those with which they came. Raises StoreDamaged, UnitError where the plan's unit cannot express
        what was stored.
        """
        for part in self.columns(point, after, upto):
            yield Block(point, part.times, part.values, part.flags, ordered=True)

    def read_final(self, point: str, after: int, upto: int) -> Iterator[Block]:
        """As `read`, with the flags with which readings ended when the daemon judged them."""
        for part in self.columns(point, after, upto):
            yield Block(point, part.times, part.values, part.last_flags(), ordered=True)

    def behind(self, point: str, after: int, upto: int) -> list[tuple[int, int]]:
        """(time, instant from which rules could know it) of each reading that came behind the frontier."""
        found: list[tuple[int, int]] = []
        for part in self.columns(point, after, upto):
            late = part.effective != NOT_BEHIND
            found.extend(zip(part.times[late].tolist(), part.effective[late].tolist(), strict=True))
        return found

    def latest(self, point: str) -> tuple[int, int, int] | None:
        """(time, counts, flag) of the newest reading of `point`, or None."""
        number = self._connection.value("SELECT id FROM point WHERE name = ?", (point,))
        if number is None:
            return None
        with self._connection.snapshot():
            last = max(self._ends(number, "MAX", "last"), default=None)
            for part in () if last is None else self.columns(point, last - 1, last):
                return int(part.times[-1]), int(part.values[-1]), int(part.flags[-1])
        return None

    def columns(self, point: str, after: int, upto: int) -> Iterator[Columns]:
        """As `read`, with the column of effective instants."""
        number = self._connection.value("SELECT id FROM point WHERE name = ?", (point,))
        if number is None or upto <= after:
            return
        days = self._days(number, after, upto)
        # A month at a time: few questions to the disk, and never more than its packed bytes in memory.
        for at in range(0, len(days), _DAYS_AT_ONCE):
            first, last = days[at], days[min(at + _DAYS_AT_ONCE, len(days)) - 1]
            start, end = max(after, first * DAY - 1), min(upto, last * DAY + DAY - 1)
            with self._connection.snapshot():
                blocks = packed(self._connection, number, first, last)
                rows = {
                    day: unsealed(self._connection, number, max(start, day * DAY - 1), min(end, day * DAY + DAY - 1))
                    for day in days_of_rows(self._connection, number, start, end)
                }
            for day in sorted(blocks.keys() | rows.keys()):
                parts = [(one, unpacked(self._connection, number, day, data)) for one, data in blocks.get(day, ())]
                part = merge(self._meant(point, one, columns) for one, columns in parts + rows.get(day, []))
                lo, hi = np.searchsorted(part.times, [start, end], side="right")
                if hi > lo:
                    yield take(part, slice(lo, hi))

    def _meant(self, point: str, number: int, columns: Columns) -> Columns:
        """The readings of a series as the point's."""
        if number not in self._series:
            self._series |= every_series(self._connection)
        series = self._series[number]
        known = point in self._targets
        target = self._targets[point] if known else _newest(s for s in self._series.values() if s.name == point)
        return converted(columns, series, target, self._records.get(point, ()) if known else ())

    def _ends(self, point: int, end: str, column: str) -> list[int]:
        # By day first, which the index answers without a look into every block.
        day = f"SELECT {end}(day) FROM block WHERE point = ?1"
        block = f"SELECT {end}({column}) FROM block WHERE point = ?1 AND day = ({day})"
        found = (
            self._connection.value(f"SELECT {end}(time) FROM reading WHERE point = ?", (point,)),
            self._connection.value(block, (point,)),
        )
        return [time for time in found if time is not None]

    def _days(self, point: int, after: int, upto: int) -> list[int]:
        first, last = (after + 1) // DAY, upto // DAY
        with self._connection.snapshot():
            days = {
                day
                for (day,) in self._connection.rows(
                    "SELECT day FROM block WHERE point = ? AND day BETWEEN ? AND ?", (point, first, last)
                )
            }
            days.update(days_of_rows(self._connection, point, after, upto))
        return sorted(days)


def days_of_rows(connection: Connection, point: int, after: int, upto: int) -> Iterator[int]:
    """The UTC days in which `point` has rows with after < time <= upto; skips along the index from day to day."""
    while True:
        time = connection.value(
            "SELECT MIN(time) FROM reading WHERE point = ? AND time > ? AND time <= ?", (point, after, upto)
        )
        if time is None:
            return
        yield time // DAY
        after = (time // DAY) * DAY + DAY - 1


def _newest(series: Iterable[Series]) -> Target:
    last = max(series, key=lambda one: one.id)
    return last.unit, last.resolution


def converted(columns: Columns, series: Series, target: Target, records: Sequence[Record]) -> Columns:
    """The readings of a series in the unit and resolution of `target`, through the calibrations of its point."""
    if not records and target == (series.unit, series.resolution):
        return columns
    unit, own = parse_unit(target[0]), parse_unit(series.unit)
    if not records and unit.dimension == own.dimension:
        values = through(series.door_to(*target), columns.values, columns.flags == Flag.MISSING)
        return columns._replace(values=values)
    values, flags = read_through(
        columns.times, columns.values, columns.flags, (own, series.resolution), (unit, target[1]), records
    )
    return columns._replace(values=values, flags=flags)
