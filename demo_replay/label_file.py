"""Which true events did a person mark? Labels in CSV: `start,end,rule,note`."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

from demo_replay.labels import Label
from rules.errors import SettingError

HEADER = ["start", "end", "rule", "note"]


def read_labels(path: Path, timezone: str) -> list[Label]:
    """The labels of a file, in its order. Times are RFC 3339 or epoch seconds; without an offset in `timezone`.

    Raises SettingError with the number of the line that is wrong, OSError.
    """
    found: list[Label] = []
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = csv.reader(file)
        header = [name.strip().casefold() for name in next(rows, [])]
        if header != HEADER:
            raise SettingError(f"{path}:1: the header is {','.join(header)!r}; labels begin with {','.join(HEADER)}")
        for row in rows:
            if not any(field.strip() for field in row):
                continue
            where = f"{path}:{rows.line_num}"
            if len(row) != len(HEADER):
                raise SettingError(f"{where}: {len(row)} fields; a label has {','.join(HEADER)}")
            start, end = (_moment(text.strip(), ZoneInfo(timezone), where) for text in row[:2])
            if end < start:
                raise SettingError(f"{where}: the label ends before it starts; swap its times")
            found.append(Label(start, end, row[2].strip(), row[3].strip()))
    return found


def _moment(text: str, zone: ZoneInfo, where: str) -> int:
    try:
        return round(float(text) * 1000)
    except ValueError:
        pass
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise SettingError(f"{where}: {text!r} is no time; write it as 2026-04-03T02:14:30Z") from None
    return round((moment if moment.tzinfo else moment.replace(tzinfo=zone)).timestamp() * 1000)
