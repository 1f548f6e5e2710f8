"""Which readings of a block are new to the store, which are repeats, and which repeats say something else?"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from daemon.store.columns import Columns
from daemon.store.connection import Connection
from daemon.store.history import ROW, sealed, table
from daemon.store.series import Series, every_series, through
from rules.block import Block, Flags, Times
from rules.durations import DAY
from rules.flags import Flag
from rules.units import parse_unit

_AT_ONCE = 500
"""How many times one query asks for."""


class Added(NamedTuple):
    """What became of a block: new readings, and repeats with another value. The rest were exact repeats."""

    new: int
    contradicted: int


class Said(NamedTuple):
    """Readings of a point, in order of time, and a flag that the quality tests gave to each: int64[n], uint8[n]."""

    times: Times
    flags: Flags

    def of(self, times: Times) -> list[int | None]:
        """What was said of the readings of these times; None of those of which nothing was."""
        if not len(self.times):
            return [None] * len(times)
        at = np.minimum(np.searchsorted(self.times, times), len(self.times) - 1)
        here = self.times[at] == times
        flags = self.flags[at].tolist()
        return [flag if known else None for flag, known in zip(flags, here.tolist(), strict=True)]


NOTHING_SAID = Said(np.empty(0, np.int64), np.empty(0, np.uint8))


class Late(NamedTuple):
    """The times of a point's readings that came behind the frontier, and when rules could first know them (ms UTC)."""

    times: Collection[int]
    effective: int | None


def add(
    connection: Connection, series: Series, block: Block, late: Late, sealed_upto: int, judged: Said = NOTHING_SAID
) -> Added:
    """Store what is new of `block`, within the caller's transaction; the first of equal (point, time) is kept.

    sealed_upto: no sealed day of the point reaches as far as this time. judged: by which flags rules have judged some.
    """
    stored: list[tuple[int, Columns]] = []
    known = np.zeros(len(block), bool)
    # Live readings are newer than any sealed day: only a late one is looked up in the blocks.
    for day in np.unique(block.times[block.times < sealed_upto] // DAY):
        for one, columns in sealed(connection, series.point, int(day)):
            known |= _places(block, columns)[0]
            stored.append((one, columns))
    fresh = Block(block.point, block.times[~known], block.values[~known], block.flags[~known])
    new = _insert(connection, series, fresh, late, judged)
    if new < len(fresh):
        stored.extend(_stored(connection, series.point, fresh))
    return Added(new, sum(_differing(connection, series, block, one, columns) for one, columns in stored))


def _insert(connection: Connection, series: Series, fresh: Block, late: Late, judged: Said) -> int:
    if late.times:
        effective = [late.effective if time in late.times else None for time in fresh.times.tolist()]
    else:
        effective = [None] * len(fresh)
    point, number = [series.point] * len(fresh), [series.id] * len(fresh)
    columns = (point, fresh.times.tolist(), number, fresh.values.tolist(), fresh.flags.tolist(), effective)
    return connection.run_many(
        "INSERT OR IGNORE INTO reading (point, time, series, value, flag, effective, judged) "
        "VALUES (?, ?, ?, ?, ?, ?, NULLIF(?, ?))",
        zip(*columns, judged.of(fresh.times), fresh.flags.tolist(), strict=True),
    )


def _stored(connection: Connection, point: int, fresh: Block) -> list[tuple[int, Columns]]:
    times = np.unique(fresh.times).tolist()
    rows = []
    for start in range(0, len(times), _AT_ONCE):
        part = times[start : start + _AT_ONCE]
        marks = ",".join("?" * len(part))
        rows += connection.rows(
            f"SELECT {ROW} FROM reading WHERE point = ? AND time IN ({marks}) ORDER BY time",
            (point, *part),
        )
    return table(rows)


def _places(block: Block, columns: Columns) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
    """(which readings of `block` are in `columns`, and where each of those is)."""
    at = np.minimum(np.searchsorted(columns.times, block.times), len(columns.times) - 1)
    here: NDArray[np.bool_] = columns.times[at] == block.times
    return here, at[here]


def _differing(connection: Connection, series: Series, block: Block, one: int, columns: Columns) -> int:
    """How many readings of `block` are in `columns` with another value."""
    here, at = _places(block, columns)
    missing = columns.flags[at] == Flag.MISSING
    values = columns.values[at]
    if one != series.id:
        before = every_series(connection)[one]
        if parse_unit(before.unit).dimension != parse_unit(series.unit).dimension:
            return int(np.count_nonzero(here))
        values = through(before.door_to(series.unit, series.resolution), values, missing)
    other = (values != block.values[here]) | (missing != (block.flags[here] == Flag.MISSING))
    return int(np.count_nonzero(other))
