"""Are the states of the adapters told to the log when they change, and to whoever asks from another process?"""

from __future__ import annotations

import logging
from collections import Counter
from pathlib import Path

import pytest

from adapters.intake import Health
from daemon.adapter_states import AdapterStates, read_states, states_path


class Time:
    """Seconds that a test moves."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def lines(caplog: pytest.LogCaptureFixture) -> list[str]:
    return [record.getMessage() for record in caplog.records]


@pytest.fixture(autouse=True)
def _heard(caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logging.getLogger("tidebed"), "propagate", True)
    caplog.set_level(logging.INFO, "tidebed.adapters")


def test_a_change_of_state_is_told_once_with_its_reason(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A port that flaps does not fill the log; what it ends in is told all the same."""
    time = Time()
    states = AdapterStates(tmp_path / "store", monotonic=time)
    board = Health("board")
    states.look([board])
    board.state = "connected"
    states.look([board])
    states.look([board])
    for at in range(1, 9):
        time.now = at * 1.0
        board.state, board.last_error = ("waiting", "port x is gone") if at % 2 == 0 else ("connected", "")
        states.look([board])
    assert lines(caplog) == ["adapter board: connected"]
    time.now = 10.0
    states.look([board])
    assert lines(caplog)[1:] == ["adapter board: waiting: port x is gone"]


def test_who_asks_is_told_states_counts_by_cause_and_the_last_error(tmp_path: Path) -> None:
    """As they stood when they were written last: every minute, and at a change of state or something new in kind."""
    time, store = Time(), tmp_path / "store"
    states = AdapterStates(store, monotonic=time)
    assert read_states(store) == []
    board = Health("board", "connected", 20, Counter({"bad checksum": 3}), "bad checksum: ...")
    states.look([board])
    (found,) = read_states(store)
    assert found[1:] == ("board", "connected", 20, {"bad checksum": 3}, "bad checksum: ...")
    board.received = 30
    for time.now, received in ((59.0, 20), (60.0, 30)):
        states.look([board])
        assert read_states(store)[0].received == received
    board.state = "waiting"
    for time.now, state in ((69.0, "connected"), (70.0, "waiting")):
        states.look([board])
        assert read_states(store)[0].state == state
    board.refused["cut line"] = 1
    for time.now, causes in ((79.0, 1), (80.0, 2)):
        states.look([board])
        assert len(read_states(store)[0].refused) == causes
    board.state = "stopped"
    states.look([board], last=True)
    assert read_states(store)[0].state == "stopped"


@pytest.mark.parametrize("text", ["", "{", "[]", '{"time": 1}', '{"time": 1, "adapters": [{"name": "x"}]}'])
def test_what_cannot_be_read_is_no_state(tmp_path: Path, text: str) -> None:
    """A file that was cut, or of another version."""
    states_path(tmp_path / "store").write_text(text)
    assert read_states(tmp_path / "store") == []


def test_a_full_disk_is_told_once_and_ends_nothing(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A folder that is not there stands for it."""
    time = Time()
    states = AdapterStates(tmp_path / "none" / "store", monotonic=time)
    for at in range(3):
        time.now = at * 60.0
        states.look([Health("board", "connected")])
    assert sum("cannot be written" in line for line in lines(caplog)) == 1
