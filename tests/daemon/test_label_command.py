"""Are labels added, listed, removed and taken from alarms as a person says?"""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from daemon.main import main
from demo_replay.label_file import read_labels
from demo_replay.labels import Label
from tests.daemon.test_tune_command import SITE, VALUES
from tests.replays import MINUTE, START

FILE = "noon.labels.csv"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a site file and a recording in which tank.warm speaks twice, at 25.0."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "site.toml").write_text(SITE.replace("high = 29.0", "high = 25.0"), encoding="utf-8")
    lines = [f"{START // 1000 + 60 * minute},tank.temperature,{value}" for minute, value in enumerate(VALUES)]
    (tmp_path / "noon.csv").write_text("\n".join(["time,point,value", *lines, ""]), encoding="utf-8")
    return tmp_path


ADD = ("label", FILE, "add", "--rule", "tank.warm", "--from", "2026-04-02T13:40", "--to", "2026-04-02T14:40")


def labels() -> list[Label]:
    return read_labels(Path(FILE), "Europe/Dublin")


def test_a_label_is_added_in_local_time_and_kept_with_its_note(folder: Path) -> None:
    """13:40 in Dublin in April is 12:40 UTC; commas and quotes in a note stay."""
    assert main([*ADD, "--note", 'heater, "stuck"']) == 0
    assert labels() == [
        Label(START + 220 * MINUTE, START + 280 * MINUTE, "tank.warm", 'heater, "stuck"'),
    ]


def test_labels_are_listed_and_removed_by_number(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sorted by time, whatever the order in which they came."""
    assert main([*ADD, "--note", "second"]) == 0
    assert main([*ADD[:5], "--from", "2026-04-02T11:40", "--to", "2026-04-02T12:00", "--note", "first"]) == 0
    capsys.readouterr()
    assert main(["label", FILE, "list"]) == 0
    told = capsys.readouterr().out.splitlines()
    assert told[0].split()[:4] == ["1", "2", "Apr", "11:40"]
    assert main(["label", FILE, "remove", "1"]) == 0
    assert [label.note for label in labels()] == ["second"]


def test_labels_that_come_and_go_are_told_as_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same line when one is added, listed or taken out, with the names of the file's columns."""
    told = []
    for words in (ADD, ("label", FILE, "list"), ("label", FILE, "remove", "1")):
        assert main([*words, "--json"]) == 0
        told += capsys.readouterr().out.splitlines()
    assert told[0] == told[1] == told[2]
    assert json.loads(told[0]) == {
        "number": 1,
        "start": "2026-04-02T12:40:00.000Z",
        "end": "2026-04-02T13:40:00.000Z",
        "rule": "tank.warm",
        "note": "",
    }
    assert main(["label", FILE, "from-alarms", "noon.csv", "--all-real", "--json"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == len(labels()) == 2


@pytest.mark.parametrize(("answers", "starts"), [("n\ny\n", [220]), ("y\nq\n", [100]), ("y\ny\n", [100, 220])])
def test_alarms_become_labels_where_a_person_says_yes(
    folder: Path, monkeypatch: pytest.MonkeyPatch, answers: str, starts: list[int]
) -> None:
    """Each is asked for once; a stop keeps what was said."""
    monkeypatch.setattr("sys.stdin", io.StringIO(answers))
    assert main(["label", FILE, "from-alarms", "noon.csv"]) == 0
    assert [(label.start_ms - START) // MINUTE for label in labels()] == starts


def test_alarms_that_have_a_label_are_not_asked_again(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The second time there is nothing left."""
    for expected in ("2 labels added", "0 labels added"):
        assert main(["label", FILE, "from-alarms", "noon.csv", "--rule", "tank.warm", "--all-real"]) == 0
        assert expected in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((*ADD[:3], "--rule", "tank.worm", *ADD[5:]), "there is no such rule; did you mean tank.warm?"),
        ((*ADD[:5], "--from", "2026-04-02T15:00", "--to", "2026-04-02T14:00"), "swap them"),
        (("label", FILE, "remove", "7"), "has no label 7"),
        (("label", "none.csv", "list"), "none.csv"),
    ],
)
def test_what_cannot_be_done_is_told(
    folder: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], told: str
) -> None:
    """Exit 2, and the file stays as it was."""
    assert main(list(ADD)) == 0
    before = labels()
    assert main(list(words)) == 2
    assert told in capsys.readouterr().err
    assert labels() == before
