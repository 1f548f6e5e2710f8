"""What does `tidebed replay` of a year cost as a whole command, cold, from columns on disk: seconds and memory?

Run by hand: `python -m tests.benchmarks.replay_year`. The year is that of tests/benchmarks/made_year.py: 20 points, 31
rules, 10.5 million readings, from the daemon's store and from Parquet in both forms. Memory is the peak of the
command's own process; "import" is the same command on a recording of two readings. Everything is timed in one run.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any, NamedTuple

MOST = 250
"""MB that the whole year may take."""
MOST_OF_ONE = 80
"""MB more than import that one point may take."""
_ROUNDS = 3


class Cost(NamedTuple):
    """Seconds of the fastest round, seconds of processor time in it, and MB at the peak."""

    seconds: float
    busy: float
    peak: float


def cost(folder: Path, site: str, recording: str) -> Cost:
    """Of one replay in a process of its own. This process must stay small: a child's peak counts what it began as."""
    found = []
    command = [sys.executable, "-m", "daemon.main", "replay", site, recording, "--json"]
    for _ in range(_ROUNDS):
        with (folder / "events").open("wb") as events, (folder / "words").open("wb") as words:
            begun = time.perf_counter()
            child = subprocess.Popen(command, stdout=events, stderr=words, cwd=Path(__file__).parents[2])
            _, status, used = os.wait4(child.pid, 0)
            spent = time.perf_counter() - begun
            child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode:
            raise SystemExit((folder / "words").read_text())
        found.append(Cost(spent, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024))
    return min(found)


def main() -> None:
    """Print seconds and megabytes."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # In a process of its own, for its memory's sake.
        subprocess.run([sys.executable, "-m", "tests.benchmarks.replay_year", "make", name], check=True)
        alone = cost(folder, f"{folder}/one.toml", f"{folder}/two_readings.csv")
        print(
            f"{'import and two readings':30} {alone.seconds:6.2f} s  ({alone.busy:5.2f} s busy)  {alone.peak:6.0f} MB"
        )
        for words, site, recording in (
            ("the year from the store", "year", "store:"),
            ("the year from wide Parquet", "year", f"{folder}/wide.parquet"),
            ("the year from long Parquet", "year", f"{folder}/long.parquet"),
        ):
            of = cost(folder, f"{folder}/{site}.toml", recording)
            print(
                f"{words:30} {of.seconds:6.2f} s  ({of.busy:5.2f} s busy)  {of.peak:6.0f} MB, "
                f"{of.peak - alone.peak:4.0f} more than import (wanted: below {MOST} in all)"
            )
        for words, recording in (
            ("one point-year from the store", "store:"),
            ("one point-year from Parquet", f"{folder}/one.parquet"),
        ):
            of = cost(folder, f"{folder}/one.toml", recording)
            print(
                f"{words:30} {of.seconds:6.2f} s  ({of.busy:5.2f} s busy)  {of.peak:6.0f} MB, "
                f"{of.peak - alone.peak:4.0f} more than import (wanted: below {MOST_OF_ONE})"
            )


def _make(folder: Path) -> None:
    import tomlkit

    from tests.benchmarks.made_year import make_rules, make_year

    year, rules = make_year(), make_rules()
    points = [
        {
            "id": point.id,
            "quantity": point.quantity,
            "unit": point.unit,
            "resolution": float(point.resolution),
            "expect_every": "60 s",
            "stale_after": "180 s",
            "quality": "none",
        }
        for point in year.points
    ]
    for name, some, judged in (("year", points, rules), ("one", points[:1], rules[:1])):
        document: dict[str, Any] = {
            "site": {"name": "Year", "timezone": "Europe/Dublin"},
            "point": some,
            "rule": judged,
            "store": {"path": f"{folder}/{name}.store"},
            "selfwatch": {"enabled": False},
        }
        (folder / f"{name}.toml").write_text(tomlkit.dumps(document))
        _make_store(folder / f"{name}.store", year, len(some))
    (folder / "two_readings.csv").write_text(
        f"time,point,value\n2026-01-01T00:00:00Z,{points[0]['id']},20\n2026-01-01T00:01:00Z,{points[0]['id']},20\n"
    )
    _make_parquet(folder, year)


def _make_store(path: Path, year: Any, count: int) -> None:
    """As a daemon leaves it: sealed days, and a checkpoint."""
    import numpy as np

    from daemon.store import Store
    from daemon.store.columns import NOT_BEHIND, NOT_SAID, Columns, pack
    from daemon.store.connection import Connection
    from rules.durations import DAY
    from tests.benchmarks.made_year import FLAGS, START, TIMES

    points = year.points[:count]
    with Store(path, points) as store:
        store.commit(checkpoint={"start": START, "frontier": int(TIMES[-1])})
    connection = Connection(path)
    edges = np.searchsorted(TIMES, np.arange(START, int(TIMES[-1]) + DAY, DAY))
    with connection.transaction():
        for number, point in enumerate(points, start=1):
            for begin, end in zip(edges[:-1], [*edges[1:-1], len(TIMES)], strict=True):
                times, values = TIMES[begin:end], year.columns[point.id][begin:end]
                effective, unsaid = np.full(len(times), NOT_BEHIND), np.full(len(times), NOT_SAID, np.uint8)
                columns = Columns(times, values, FLAGS[begin:end], effective, unsaid, unsaid)
                connection.run(
                    "INSERT INTO block (point, day, series, readings, first, last, columns) "
                    "VALUES (?, ?, ?, ?, ?, ?, ?)",
                    (number, int(times[0]) // DAY, number, len(times), int(times[0]), int(times[-1]), pack(columns)),
                )
    connection.close()


def _make_parquet(folder: Path, year: Any) -> None:
    """Wide form with doubles, and long form in order of time with decimals."""
    import numpy as np
    import pyarrow as pa
    import pyarrow.parquet as pq

    from tests.benchmarks.made_year import TIMES

    stamps = pa.array(TIMES, pa.timestamp("ms", "UTC"))
    steps = {point.id: float(point.resolution) for point in year.points}
    wide = {f"{p.id} [{p.unit}]": np.round(year.columns[p.id] * steps[p.id], 2) for p in year.points}
    pq.write_table(pa.table({"time": stamps} | wide), folder / "wide.parquet")
    first = year.points[0]
    one = {"time": stamps, f"{first.id} [{first.unit}]": wide[f"{first.id} [{first.unit}]"]}
    pq.write_table(pa.table(one), folder / "one.parquet")
    names = [point.id for point in year.points]
    decimal = pa.decimal128(12, 2)
    columns = [np.round(year.columns[p.id] * (steps[p.id] * 100)).astype(np.int64) for p in year.points]
    schema = pa.schema([("time", stamps.type), ("point", pa.string()), ("value", decimal)])
    with pq.ParquetWriter(folder / "long.parquet", schema) as writer:
        for begin in range(0, len(TIMES), 50_000):
            part = slice(begin, begin + 50_000)
            counts = np.column_stack([column[part] for column in columns]).ravel()
            pairs = np.column_stack((counts, counts >> 63)).ravel()
            values = pa.Array.from_buffers(decimal, len(counts), [None, pa.py_buffer(pairs.tobytes())])
            rows = len(counts) // len(names)
            writer.write_table(
                pa.table(
                    [
                        pa.array(np.repeat(TIMES[part], len(names)), stamps.type),
                        pa.array(names * rows, pa.string()),
                        values,
                    ],
                    schema=schema,
                )
            )


if __name__ == "__main__":
    if sys.argv[1:2] == ["make"]:
        _make(Path(sys.argv[2]))
    else:
        main()
