"""How is what the quality tests said of a reading kept beside the flag with which it came?

Most readings are judged a second after they were stored, and a spike is known as one only by the next reading.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from daemon.store.adding import Said
from daemon.store.columns import NOT_SAID, pack
from daemon.store.connection import Connection
from daemon.store.cursor import owe
from daemon.store.history import sealed
from daemon.store.series import Series
from rules.durations import DAY

_ROWS = {
    "judged": "UPDATE reading SET judged = ?1 WHERE time = ?2 AND point = ?3 AND flag <> ?1 AND judged IS NULL",
    "final": "UPDATE reading SET final = ?1 WHERE time = ?2 AND point = ?3 AND COALESCE(judged, flag) <> ?1",
}


def keep(
    connection: Connection, series: Series, said: Said, column: Literal["judged", "final"], sealed_upto: int
) -> None:
    """Write down what was said of stored readings, within the caller's transaction; of others nothing is kept.

    column: whether it is what rules judged them by (the first is kept) or what they ended with. sealed_upto: no sealed
    day of the point reaches as far as this time.
    """
    rows = zip(said.flags.tolist(), said.times.tolist(), [series.point] * len(said.times), strict=True)
    connection.run_many(_ROWS[column], rows)
    for day in np.unique(said.times[said.times < sealed_upto] // DAY).tolist():
        _in_blocks(connection, series.point, day, said, column)


def _in_blocks(connection: Connection, point: int, day: int, said: Said, column: Literal["judged", "final"]) -> None:
    """A point that is heard so rarely that its day was sealed before its last reading could be judged in the end."""
    for one, columns in sealed(connection, point, day):
        flags = np.array([flag or NOT_SAID for flag in said.of(columns.times)], np.uint8)
        before = columns.flags if column == "judged" else columns._replace(final=columns.final * 0).last_flags()
        change = (flags != NOT_SAID) & (flags != before)
        if column == "judged":
            change &= columns.judged == NOT_SAID
        if change.any():
            old = columns.judged if column == "judged" else columns.final
            whole = columns._replace(**{column: np.where(change, flags, old)})
            connection.run(
                "UPDATE block SET columns = ? WHERE point = ? AND day = ? AND series = ?",
                (pack(whole), point, day, one),
            )
            owe(connection, point, day, one)
