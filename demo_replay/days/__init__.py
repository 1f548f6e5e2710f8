"""Where are the recorded demo days, and how are they written again?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from adapters.recordings.write import write_csv
from demo_replay.kinds import RECORDED
from demo_replay.simulate import SimulatedDay, simulate
from rules.events import show_time

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


def label_lines(day: SimulatedDay) -> Iterator[str]:
    """The lines of a day's label file, header first."""
    yield "start,end,rule,note\n"
    for label in day.labels:
        yield f"{show_time(label.start_ms)},{show_time(label.end_ms)},{label.rule},{label.note}\n"


def write(folder: Path = FOLDER) -> dict[str, int]:
    """Make every recorded day and its labels again in `folder`; returns kind -> bytes of its recording."""
    sizes: dict[str, int] = {}
    for kind in RECORDED:
        day = simulate(kind)
        recording, to = day.recording(), folder / path(kind).name
        write_csv(to, recording.blocks.values(), recording.series)
        (folder / labels_path(kind).name).write_text("".join(label_lines(day)), encoding="utf-8")
        sizes[kind] = to.stat().st_size
    return sizes
