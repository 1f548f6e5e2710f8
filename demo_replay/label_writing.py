"""How do labels get into a file? In CSV, written whole or not at all."""

from __future__ import annotations

import csv
import os
from collections.abc import Iterable
from pathlib import Path

from demo_replay.label_file import HEADER
from demo_replay.labels import Label
from rules.errors import SettingError
from rules.events import show_time


def write_labels(path: Path, labels: Iterable[Label]) -> None:
    """Write the labels, in their order, in place of what `path` holds. Raises SettingError, OSError."""
    if path.is_dir() or not path.parent.is_dir():
        raise SettingError(f"labels cannot be written to {path}; name a file in a folder that is there")
    draft = path.with_name(f".{path.name}.new")
    with draft.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(HEADER)
        for label in labels:
            rows.writerow((show_time(label.start_ms), show_time(label.end_ms), label.rule, label.note))
        file.flush()
        os.fsync(file.fileno())
    os.replace(draft, path)
