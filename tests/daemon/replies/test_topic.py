"""Does an answer on the broker's topic acknowledge what was meant, and nothing else?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.replies.topic import LONGEST, WHO, TopicAnswers
from daemon.store import Sending, Store
from rules.acts import ActKind
from rules.events import Event

START = 1_780_315_200_000


class Clock:
    """The time of these tests."""

    def now(self) -> int:
        """As Clock."""
        return START + 60_000


def changed(t: int, state: str, since: int = START) -> Event:
    """The alarm of the rule tank.warm changes."""
    body = {"rule": "tank.warm", "side": "high", "was": "normal", "state": state, "priority": "high", "since": since}
    return Event(t, "alarm", body)


class Place:
    """A store with one message about one alarm."""

    def __init__(self, path: Path) -> None:
        self.store = Store(path)
        key = f"tank.warm/high/{START}/first/anna"
        owed = Sending(f"{key}/phone", "anna", "phone", "t", "b", "high", "first", START, rule="tank.warm", side="high")
        self.store.commit(events=[changed(START, "unacknowledged")], owed=[owed])
        self.answers = TopicAnswers(path, lambda: {"tank.warm", "loop.stopped"}, Clock())
        self.message_id = owed.message_id

    def acts(self) -> list[tuple[ActKind, str, str | None, str | None]]:
        """What was handed in."""
        return [(act.kind, act.who, act.rule, act.side) for _, act in self.store.inbox()]


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    """One alarm that waits."""
    made = Place(tmp_path / "store.sqlite")
    yield made
    made.store.close()


def test_a_rule_is_acknowledged_by_its_name(place: Place) -> None:
    """All its sides, by whoever may publish there."""
    place.answers.heard(b" tank.warm\n")
    assert place.acts() == [(ActKind.ACKNOWLEDGE, WHO, "tank.warm", None)]


@pytest.mark.parametrize("form", ["{}", "({})", " {} "])
def test_a_message_is_acknowledged_by_its_id_as_it_says_it(place: Place, form: str) -> None:
    """In the name of the person who was told, that side alone."""
    place.answers.heard(form.format(place.message_id).encode())
    assert place.acts() == [(ActKind.ACKNOWLEDGE, "anna", "tank.warm", "high")]


def test_a_message_about_an_earlier_activation_acknowledges_nothing(place: Place) -> None:
    """Nor does one that was answered already."""
    place.answers.heard(place.message_id.encode())
    place.answers.heard(place.message_id.encode())
    assert len(place.acts()) == 1
    place.store.commit(
        taken=[number for number, _ in place.store.inbox()],
        events=[changed(START + 1, "normal"), changed(START + 2, "unacknowledged", START + 2)],
    )
    place.answers.heard(place.message_id.encode())
    assert place.acts() == []
    assert place.answers.refused == {"its alarm does not wait": 2}


def test_an_answer_is_bound_to_what_could_be_seen_when_it_came(place: Place) -> None:
    """A message's id to the activation that it told of, a rule's name to those in the log by then."""
    place.answers.heard(place.message_id.encode())
    place.answers.heard(b"tank.warm")
    by_id, by_name = [act for _, act in place.store.inbox()]
    assert by_id.data == {"since": str(START)}
    assert by_name.data == {"known_upto": str(START)}


@pytest.mark.parametrize("payload", [b"", b" ", b"\xff\xfe", b"x" * (LONGEST + 1), b"tank.worm", b"{}", b"null"])
def test_anything_else_is_counted_and_does_nothing(
    place: Place, payload: bytes, caplog: pytest.LogCaptureFixture
) -> None:
    """And is not written into the log, however often it comes."""
    for _ in range(3):
        place.answers.heard(payload)
    assert place.acts() == []
    assert place.answers.refused.total() == 3
    assert len(caplog.records) == 1
    assert "worm" not in caplog.text


def test_a_store_that_is_gone_is_told(place: Place, caplog: pytest.LogCaptureFixture) -> None:
    """The broker's thread goes on."""
    place.store.close()
    place.store.path.unlink()
    place.answers.heard(b"tank.warm")
    assert "could not be taken" in caplog.text
