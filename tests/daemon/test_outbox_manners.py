"""Does the outbox fold, take turns and carry links as the site file says?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from adapters.notify import Outcome, Result
from daemon.outbox import Manners
from daemon.store import Sending, State
from daemon.ways_in_turn import InTurn
from rules.durations import MINUTE
from rules.texts import ENGLISH, Words
from tests.daemon.test_outbox import FAILED, OK, REFUSED, UNKNOWN, Place


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    """Nothing owed yet."""
    made = Place(tmp_path / "store.sqlite")
    yield made
    made.close()


def owe(place: Place, message_id: str, rule: str, purpose: str, way: str = "phone", priority: str = "high") -> None:
    """One message about an alarm, made now."""
    sending = Sending(
        f"{message_id}/{way}", "anna", way, f"{rule} is wrong", "text", priority, purpose, place.time.now(),
        rule=rule, side="high",
    )  # fmt: skip
    place.store.commit(owed=[sending])


def wait(place: Place, seconds: float) -> None:
    """Time passes while the outbox does what is due."""
    end = place.time.seconds + seconds
    while place.time.seconds < end:
        left = place.pump()
        place.time.seconds = min(end, place.time.seconds + (seconds if left is None else left))
    place.pump()


def link_down(place: Place) -> None:
    """An hour without a link, in which three alarms came and went and a fourth came."""
    place.outbox.use(Manners(fold_after=10 * MINUTE))
    for number, rule in enumerate(("air", "tank", "bed", "pump")):
        place.service.answers |= {f"{rule}/{p}/phone": [FAILED] * 999 for p in ("first", "recovery")}
        owe(place, f"{rule}/first", rule, "first")
        wait(place, 60 * (number + 1))
        if rule != "pump":
            owe(place, f"{rule}/recovery", rule, "recovery")
        wait(place, 600)


def link_up(place: Place) -> list[str]:
    """It is back; what comes then."""
    before = len(place.service.got)
    place.service.answers.clear()
    wait(place, 900)
    return place.service.ids[before:]


def test_what_came_and_went_while_the_link_was_down_is_told_in_one(place: Place) -> None:
    """The first that gets through shows that it is back; then the rest is folded, and what stands is told."""
    link_down(place)
    came = link_up(place)
    assert came == ["air/first/phone", "air/recovery/phone", "pump/first/phone", "folded/3-6/anna/phone"]
    body = place.service.bodies[-1]
    assert body.startswith("tank is wrong, ")
    assert "All are over." in body
    assert place.store.unsent() == []
    assert place.outbox.health().folded == 4
    assert place.store.tally()["recovery"] == {State.SENT: 1, State.FOLDED: 2}


def test_folding_can_be_switched_off(place: Place) -> None:
    """Then each comes, in order."""
    link_down(place)
    place.outbox.use(Manners(fold_after=None))
    assert len(link_up(place)) == 7


def test_a_link_that_was_never_down_folds_nothing(place: Place) -> None:
    """However old a message is."""
    for rule in ("air", "tank", "bed"):
        owe(place, f"{rule}/first", rule, "first")
        owe(place, f"{rule}/recovery", rule, "recovery")
    place.time.seconds += 3600
    place.outbox.use(Manners(fold_after=10 * MINUTE))
    place.pump()
    assert len(place.service.got) == 6


def test_after_a_restart_it_is_still_known_that_the_link_was_down(place: Place) -> None:
    """By the tries on disk."""
    link_down(place)
    place.outbox.close()
    place.new_outbox().use(Manners(fold_after=10 * MINUTE))
    assert "folded/3-6/anna/phone" in link_up(place)


def take_turns(place: Place, after: int = 5 * MINUTE) -> None:
    """Anna's mail stands in for her phone."""
    place.outbox.use(Manners(in_turn={"anna": InTurn(("phone", "mail"), after)}))


def owe_both(place: Place, message_id: str = "a", **more: str) -> None:
    """One message by each way, as the loop owes them."""
    for way in ("phone", "mail"):
        owe(place, message_id, "air", "first", way, **more)


def test_the_second_way_is_spared_when_the_first_works(place: Place) -> None:
    """It is never tried."""
    take_turns(place)
    owe_both(place)
    wait(place, 3600)
    assert place.service.ids == ["a/phone"]
    assert place.store.tally()["first"] == {State.SENT: 1, State.SPARED: 1}
    assert place.outbox.health().waiting == 0


def test_the_second_way_is_used_at_once_when_the_first_refuses(place: Place) -> None:
    """Without a wait."""
    take_turns(place)
    place.service.answers["a/phone"] = [REFUSED]
    owe_both(place)
    place.pump()
    assert place.service.ids == ["a/phone", "a/mail"]


@pytest.mark.parametrize("priority", ["high", "critical"])
def test_the_second_way_is_used_when_the_first_has_failed_for_so_long(place: Place, priority: str) -> None:
    """Not a second earlier; then the first need not bring it any more."""
    take_turns(place)
    place.service.answers["a/phone"] = [FAILED] * 99
    owe_both(place, priority=priority)
    wait(place, 299)
    assert "a/mail" not in place.service.ids
    wait(place, 1)
    assert place.service.ids[-1] == "a/mail"
    place.service.answers.clear()
    wait(place, 3600)
    assert place.service.ids[-1] == "a/mail"
    assert place.store.unsent() == []


def test_a_critical_message_of_the_second_way_counts_as_waiting_only_in_its_turn(place: Place) -> None:
    """What stands in the health line is what somebody still waits for."""
    take_turns(place)
    place.service.answers["a/phone"] = [FAILED]
    owe_both(place, priority="critical")
    made = place.time.now()
    place.pump()
    health = place.outbox.health()
    assert (health.waiting, health.critical_since) == (1, made)
    wait(place, 60)
    assert place.outbox.health().critical_since is None


def test_an_unknown_outcome_of_the_first_way_does_not_hold_up_the_second_for_ever(place: Place) -> None:
    """It may have arrived; that is no reason to keep silent."""
    take_turns(place)
    place.service.answers["a/phone"] = [UNKNOWN] * 99
    owe_both(place)
    wait(place, 300)
    assert place.service.ids[-1] == "a/mail"
    assert place.store.unsent() == []


def test_the_link_stands_on_a_line_of_its_own_and_is_made_when_it_is_sent(place: Place) -> None:
    """So that it is good for its whole time even where the message had to wait."""
    place.outbox._link = lambda sending, now: f"Seen it? https://h/{sending.number}/{now}"
    place.service.answers["a/phone"] = [UNKNOWN, OK]
    owe(place, "a", "air", "first")
    place.pump_on(1)
    first, second = place.service.bodies
    assert first == "text\nSeen it? https://h/1/1000000"
    assert second == f"text\n{ENGLISH['repeated']}\nSeen it? https://h/1/{place.time.now()}"


def test_a_doubt_is_told_in_the_sites_language_as_it_is_when_it_is_sent(place: Place) -> None:
    """A site file that is read again meanwhile may have another."""
    place.service.answers["a/phone"] = [UNKNOWN, OK]
    owe(place, "a", "air", "first")
    place.pump()
    place.outbox.use(Manners(words=Words({"repeated": "(noch einmal)"})))
    place.pump_on(1)
    assert place.service.bodies[-1] == "text\n(noch einmal)"


def test_the_store_holds_no_link(place: Place) -> None:
    """A backup must not acknowledge anything."""
    place.outbox._link = lambda sending, now: "Seen it? https://h/secret-token"
    place.service.answers["a/phone"] = [Outcome(Result.FAILED, "no connection")]
    owe(place, "a", "air", "first")
    place.pump_on(1)
    assert "secret-token" in place.service.bodies[-1]
    for file in place.store.path.parent.iterdir():
        assert b"secret-token" not in file.read_bytes()
