"""Are labels read from their file, and refused with the line that is wrong?"""

from __future__ import annotations

from pathlib import Path

import pytest

from demo_replay import days
from demo_replay.label_file import read_labels
from demo_replay.label_writing import write_labels
from demo_replay.labels import Label
from demo_replay.simulate import simulate
from rules.errors import SettingError
from tests.replays import HOUR, START


def written(folder: Path, text: str) -> Path:
    """A label file."""
    path = folder / "night.labels.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_times_may_have_an_offset_be_local_or_be_epoch_seconds(tmp_path: Path) -> None:
    """Three ways to write nine o'clock UTC on 2 April 2026, which is ten in Dublin."""
    lines = [
        "start,end,rule,note",
        "2026-04-02T09:00:00Z,2026-04-02T11:00:00+01:00,tank.warm,sun",
        "2026-04-02T10:00,2026-04-02T11:00,tank.warm,sun",
        "1775120400,1775124000,tank.warm,sun",
    ]
    found = read_labels(written(tmp_path, "\n".join(lines)), "Europe/Dublin")
    assert found == [Label(START, START + HOUR, "tank.warm", "sun")] * 3


def test_the_labels_of_a_demo_day_are_read_as_they_were_made() -> None:
    """What was written is what is read."""
    assert read_labels(days.labels_path("pump_trip"), "Europe/Dublin") == simulate("pump_trip").labels


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("2026-04-02T10:00,tank.warm,sun", r"labels\.csv:3: 3 fields; a label has start,end,rule,note"),
        ("soon,2026-04-02T10:00,tank.warm,sun", r"labels\.csv:3: 'soon' is no time; write it as"),
        ("1e20,2026-04-02T10:00,tank.warm,sun", r"labels\.csv:3: '1e20' is no time; write it as"),
        ("2026-04-02T10:00,2026-04-02T09:59,tank.warm,sun", r"labels\.csv:3: the label ends before it starts; swap"),
    ],
)
def test_a_wrong_line_is_refused_with_its_number(tmp_path: Path, line: str, told: str) -> None:
    """An empty line before it counts."""
    with pytest.raises(SettingError, match=told):
        read_labels(written(tmp_path, f"start,end,rule,note\n\n{line}\n"), "UTC")


def test_another_header_is_refused(tmp_path: Path) -> None:
    """The message shows the header that labels have."""
    with pytest.raises(SettingError, match="labels begin with start,end,rule,note"):
        read_labels(written(tmp_path, "from,to\n"), "UTC")


def test_a_file_that_cannot_be_read_is_told_with_its_reason(tmp_path: Path) -> None:
    """One that is not there, a folder, and what is no text."""
    (tmp_path / "bytes.csv").write_bytes(b"\xff\xfe,")
    for name, told in (("none.csv", "No such file"), ("", "Is a directory"), ("bytes.csv", "no text in UTF-8")):
        with pytest.raises(SettingError, match=rf"^labels .*{name} cannot be read: .*{told}"):
            read_labels(tmp_path / name, "UTC")


def test_labels_are_written_into_a_folder_that_is_there(tmp_path: Path) -> None:
    """Else it is told, and nothing is left behind."""
    for wrong in (tmp_path, tmp_path / "nowhere" / "night.labels.csv"):
        with pytest.raises(SettingError, match="name a file in a folder that is there"):
            write_labels(wrong, [])
    assert list(tmp_path.iterdir()) == []
