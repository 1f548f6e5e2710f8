"""Where are the recorded demo days, and how are they written again?"""

from __future__ import annotations

import gzip
import io
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from demo_replay.kinds import RECORDED
from demo_replay.simulate import SimulatedDay, simulate
from rules.door import as_decimal

FOLDER = Path(__file__).parent
SITE = FOLDER / "site.toml"
"""The site file of the invented glasshouse."""


def path(kind: str) -> Path:
    """The recording of a demo day: gzipped CSV, `time,point,value,unit`. Raises ValueError for a kind that has none."""
    return _file(kind, ".csv.gz")


def labels_path(kind: str) -> Path:
    """The labels of a demo day: CSV, `start,end,rule,note`. Raises ValueError for a kind that has none."""
    return _file(kind, ".labels.csv")


def _file(kind: str, ending: str) -> Path:
    if kind not in RECORDED:
        raise ValueError(f"there is no recorded day called {kind!r}; there are {', '.join(RECORDED)}")
    return FOLDER / f"{kind}{ending}"


def recording_lines(day: SimulatedDay) -> Iterator[str]:
    """The lines of a day's CSV, header first, in order of time and then of the points."""
    names = list(day.columns)
    times = np.concatenate([day.columns[name][0] for name in names])
    counts = np.concatenate([day.columns[name][1] for name in names])
    which = np.repeat(np.arange(len(names)), [len(day.columns[name][0]) for name in names])
    order = np.lexsort((which, times))
    units = [day.points[name].unit for name in names]
    written: list[dict[int, str]] = [{} for _ in names]
    yield "time,point,value,unit\n"
    for t, w, count in zip(times[order].tolist(), which[order].tolist(), counts[order].tolist(), strict=True):
        value = written[w].get(count)
        if value is None:
            value = written[w][count] = str(as_decimal(count, day.points[names[w]].resolution))
        yield f"{rfc3339(t)},{names[w]},{value},{units[w]}\n"


def label_lines(day: SimulatedDay) -> Iterator[str]:
    """The lines of a day's label file, header first."""
    yield "start,end,rule,note\n"
    for label in day.labels:
        yield f"{rfc3339(label.start_ms)},{rfc3339(label.end_ms)},{label.rule},{label.note}\n"


def rfc3339(ms: int) -> str:
    """Milliseconds UTC as `2026-04-03T01:12:00.000Z`."""
    seconds, rest = divmod(ms, 1000)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{rest:03d}Z"


def write(folder: Path = FOLDER) -> dict[str, int]:
    """Make every recorded day and its labels again in `folder`; returns kind -> bytes of its recording.

    The same bytes for the same seed wherever the same compressor is used: no time stamp or name goes into the archive.
    """
    sizes: dict[str, int] = {}
    for kind in RECORDED:
        day = simulate(kind)
        packed = io.BytesIO()
        with gzip.GzipFile(filename="", mode="wb", compresslevel=9, fileobj=packed, mtime=0) as archive:
            archive.write("".join(recording_lines(day)).encode())
        (folder / path(kind).name).write_bytes(packed.getvalue())
        (folder / labels_path(kind).name).write_text("".join(label_lines(day)), encoding="utf-8")
        sizes[kind] = len(packed.getvalue())
    return sizes
