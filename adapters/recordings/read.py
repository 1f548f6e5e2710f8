"""Which readings do one or more recorded files hold?"""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from adapters.recordings.csv_table import read_csv
from adapters.recordings.gathered import Gathered
from adapters.recordings.opened import Opened
from adapters.recordings.recording import Recording, RecordingRefused
from adapters.recordings.senml_file import read_senml
from rules.plan import PointPlan


def read_recordings(
    paths: Sequence[Path],
    points: Mapping[str, PointPlan] | None,
    timezone: str,
    strict: bool = False,
    progress: Callable[[int, int], None] | None = None,
    quick: bool = True,
) -> Recording:
    """The readings of all files as one recording: CSV or Parquet (long or wide) or SenML JSON; CSV and SenML gzipped or
    not.

    points: the plan's points; readings of others are counted as ignored. None takes every point as it stands: its
    unit from the file, its resolution the finest decimal in it (at most 12 places, and no more than whole counts
    can hold).
    timezone: where times without an offset were written; of a local time that the clock change repeats, the first.
    strict: the first bad line raises. progress: called with (bytes done, bytes in all). quick: CSV is read in columns
    by pyarrow where the extra `fast` is installed; what is read is the same.
    Of equal (point, time) the first is kept, in the order of `paths`. Every value is taken as the decimal that
    was written. Raises RecordingRefused where a file cannot be read, or is no recording.
    """
    try:
        zone = zoneinfo.ZoneInfo(timezone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise RecordingRefused(f"time zone {timezone!r} is not known; write one such as Europe/Dublin") from None
    sizes = [path.stat().st_size if path.is_file() else 0 for path in paths]
    gathered = Gathered(points, strict)
    for index, path in enumerate(paths):
        before = sum(sizes[:index])

        def on_progress(done: int, before: int = before) -> None:
            if progress is not None:
                progress(before + done, sum(sizes))

        gathered.begin(str(path))
        with Opened(path, on_progress) as opened:
            if opened.kind == "senml":
                read_senml(opened, gathered)
            elif opened.kind == "parquet":
                # Here, since most recordings are not Parquet.
                from adapters.recordings.parquet_table import read_parquet

                read_parquet(opened, gathered, zone)
            else:
                read_csv(opened, gathered, zone, quick)
    return gathered.finish()
