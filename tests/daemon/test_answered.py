"""Is nobody called any more for an alarm that somebody has answered?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.answered import ANSWERED
from daemon.entries import dated
from daemon.store import Sending, State, hand_in
from rules.acts import Act, ActKind
from rules.alarms import State as Alarm
from rules.events import Event
from tests.daemon.test_outbox import FAILED, Place

RAISED, CALLED = 1_000, 601_000


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    """An alarm of water that nobody answered for 10 min, and a link that is down."""
    made = Place(tmp_path / "store.sqlite")
    made.store.commit(events=[changed(RAISED, Alarm.UNACKNOWLEDGED)])
    yield made
    made.close()


def changed(t: int, state: Alarm, since: int = 500, side: str = "stopped") -> Event:
    """The alarm's change, as in the log."""
    return Event(t, "alarm", {"rule": "water", "side": side, "state": state.value, "since": since})


def owe(place: Place, purpose: str, created: int = CALLED, person: str = "anna") -> str:
    """One message about it; its id."""
    made = Sending(
        f"{purpose}/{created}/{person}", person, "phone", "Water", "text", "critical", purpose, created,
        rule="water", side="stopped",
    )  # fmt: skip
    place.store.commit(owed=[made])
    return made.message_id


@pytest.mark.parametrize(("purpose", "sent"), [("first", True), ("next", False), ("repeat", False), ("drill", True)])
def test_who_would_be_called_because_nobody_answered_is_not(place: Place, purpose: str, sent: bool) -> None:
    """Once the log has the answer; what tells of the alarm in the first place is sent all the same."""
    name = owe(place, purpose)
    place.store.commit(events=[changed(CALLED + 1, Alarm.ACKNOWLEDGED)])
    place.pump()
    assert place.service.ids == ([name] if sent else [])
    assert place.store.tally()[purpose] == {State.SENT if sent else State.SPARED: 1}


def test_an_answer_from_before_the_call_spares_nothing(place: Place) -> None:
    """As when an alarm came back: then the call is about what is not answered."""
    place.store.commit(events=[changed(RAISED + 1, Alarm.ACKNOWLEDGED), changed(RAISED + 2, Alarm.UNACKNOWLEDGED)])
    name = owe(place, "next")
    place.store.commit(events=[changed(CALLED + 1, Alarm.ACKNOWLEDGED, side="blind")])
    place.pump()
    assert place.service.ids == [name]


@pytest.mark.parametrize("taken", [False, True], ids=["in the inbox", "not judged yet"])
@pytest.mark.parametrize(
    ("rule", "side", "since", "sent"),
    [
        ("water", "stopped", "500", False),
        ("water", None, None, False),
        (None, None, None, False),
        ("air", None, None, True),
        ("water", "blind", None, True),
        ("water", "stopped", "499", True),
    ],
    ids=["by link", "by rule", "of all", "another rule", "another side", "another activation"],
)
def test_an_answer_counts_as_soon_as_it_is_handed_in(
    place: Place, rule: str | None, side: str | None, since: str | None, sent: bool, taken: bool
) -> None:
    """The loop takes and judges it seconds later, but whoever answered was told that nobody else is called."""
    name = owe(place, "next")
    act = Act(CALLED, ActKind.ACKNOWLEDGE, "anna", rule, side, data={} if since is None else {"since": since})
    if taken:
        place.store.commit(acts=[act])
    else:
        hand_in(place.store.path, act)
    place.pump()
    assert place.service.ids == ([name] if sent else [])


def test_an_answer_to_what_was_before_is_none(place: Place) -> None:
    """It was judged before the call was made."""
    place.store.commit(acts=[Act(CALLED - 1, ActKind.ACKNOWLEDGE, "anna", "water")])
    name = owe(place, "next")
    place.pump()
    assert place.service.ids == [name]


def test_who_was_never_called_is_not_told_that_it_is_over(place: Place) -> None:
    """Who was, is; and of the next activation everybody is told anew."""
    place.service.answers = {f"next/{CALLED}/ben": [FAILED] * 99}
    owe(place, "first", RAISED)
    owe(place, "next", person="ben")
    place.pump()
    place.store.commit(events=[changed(CALLED + 1, Alarm.ACKNOWLEDGED), changed(CALLED + 2, Alarm.NORMAL)])
    over = owe(place, "recovery", CALLED + 2)
    owe(place, "recovery", CALLED + 2, "ben")
    place.time.seconds += 600
    place.pump()
    assert place.service.ids[-1] == over
    assert place.store.unsent() == []
    place.store.commit(events=[changed(CALLED + 9, Alarm.UNACKNOWLEDGED, CALLED + 8)])
    again = [owe(place, purpose, CALLED + 9, "ben") for purpose in ("next", "recovery")]
    place.pump()
    assert place.service.ids[-2:] == again


def test_the_store_says_why_a_call_was_spared(place: Place) -> None:
    """For whoever asks later."""
    name = owe(place, "repeat")
    hand_in(place.store.path, Act(CALLED + 1, ActKind.ACKNOWLEDGE, "anna", "water"))
    place.pump()
    assert [one.reason for one in place.store.sendings_called(name)] == [ANSWERED]
    assert place.outbox.health().spared == 1


@pytest.mark.parametrize(
    ("kind", "handed_in", "time"),
    [
        (ActKind.ACKNOWLEDGE, 899, 900),
        (ActKind.ACKNOWLEDGE, 900, 900),
        (ActKind.ACKNOWLEDGE, 950, 950),
        (ActKind.ACKNOWLEDGE, 1_001, 1_000),
        (ActKind.NOTE, 950, 1_000),
    ],
)
def test_an_answer_holds_from_when_it_was_handed_in(kind: ActKind, handed_in: int, time: int) -> None:
    """So that who would be called between that and its taking is not; but what is judged is judged."""
    assert dated(Act(handed_in, kind), 900, 1_000, lambda point: 0).time == time
