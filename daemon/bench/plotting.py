"""Which picture shows a replay best, and what did people mark in it?"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from daemon.bench.source import STORE, Recorded
from demo_replay.label_file import read_labels
from demo_replay.labels import Label
from demo_replay.pictures.day import picture_of_day
from demo_replay.pictures.season import picture_of_season
from demo_replay.replay import Replayed, WithDerived
from rules.durations import DAY

_LONGEST_DAY = 8 * DAY
"""A longer span is drawn as a calendar."""


def draw(path: Path, replayed: Replayed, found: Recorded, names: Sequence[str], points: Sequence[str] = ()) -> None:
    """Draw the part that is shown to `path`; `names`: the recordings, whose labels lie beside them; `points`: of a day
    only these are drawn.

    Raises OSError, SettingError where a file of labels cannot be read.
    """
    events = [*replayed.warm_up, *replayed.events]
    begin, end = replayed.shown
    source = WithDerived(found.source, replayed.derived, replayed.doubted)
    if end - begin > _LONGEST_DAY:
        picture_of_season(replayed.plan, source, events, path, replayed.shown)
    else:
        labels = labels_beside(names, replayed.plan.timezone)
        picture_of_day(replayed.plan, source, events, labels, path, replayed.shown, points)


def labels_beside(names: Sequence[str], timezone: str) -> list[Label]:
    """The labels of `night.labels.csv` beside `night.csv.gz`, for each recording that has such a file."""
    found: list[Label] = []
    for name in names:
        if name != STORE:
            recording = Path(name)
            beside = recording.with_name(recording.name.partition(".")[0] + ".labels.csv")
            if beside.is_file():
                found += read_labels(beside, timezone)
    return found
