"""Are stale messages folded only where nothing is lost by it?"""

from __future__ import annotations

from dataclasses import replace

from daemon.folding import fold
from daemon.store import Sending, State
from daemon.texts import texts_in
from rules.durations import HOUR, MINUTE
from rules.local_time import Zone
from rules.messages import BODY_SIZE, TITLE_SIZE
from rules.texts import Words

NOON = 1_780_315_200_000
"""2026-06-01 12:00 UTC."""
UTC = Zone("UTC")
WORDS = Words({})


def made(number: int, rule: str, purpose: str, minutes_ago: int = 60, priority: str = "high") -> Sending:
    """A message that waits."""
    created = NOON - minutes_ago * MINUTE
    return Sending(
        f"m{number}/phone", "anna", "phone", f"{rule} is wrong", "text", priority, purpose, created, number,
        rule=rule, side="high",
    )  # fmt: skip


def came_and_went(number: int, rule: str, minutes_ago: int = 60, priority: str = "high") -> list[Sending]:
    """A first message and that it is over, ten minutes apart."""
    return [
        made(number, rule, "first", minutes_ago, priority),
        made(number + 1, rule, "recovery", minutes_ago - 10, priority),
    ]


def test_alarms_that_came_and_went_become_one_message() -> None:
    """It names each with its times, and the others are set aside."""
    folded = fold([*came_and_went(1, "air"), *came_and_went(3, "tank", 40)], NOON, 10 * MINUTE, UTC, WORDS)
    assert folded.over == [1, 2, 3, 4]
    assert folded.outdated == []
    assert folded.digest is not None
    assert folded.digest.title == "2 alarms came and went while the link was down"
    assert folded.digest.body.startswith("air is wrong, 11:00 to 11:10; tank is wrong, 11:20 to 11:30. All are over.")
    assert (folded.digest.purpose, folded.digest.message_id) == ("digest", "folded/1-4/anna/phone")


def test_one_alone_is_told_as_it_was() -> None:
    """Two messages are not worth a third text."""
    assert fold(came_and_went(1, "air"), NOON, 10 * MINUTE, UTC, WORDS) == (None, [], [])


def test_an_alarm_that_stands_is_never_folded_away() -> None:
    """Its newest message stays; the older ones about it go."""
    waiting = [made(1, "air", "first", 60), made(2, "air", "repeat", 40), made(3, "air", "repeat", 20)]
    assert fold(waiting, NOON, 10 * MINUTE, UTC, WORDS) == (None, [], [1, 2])


def test_a_message_is_stale_at_the_age_and_not_below() -> None:
    """A recovery younger than that leaves its alarm as it is."""
    waiting = [*came_and_went(1, "air", 20), *came_and_went(3, "tank", 20)]
    assert fold(waiting, NOON, 10 * MINUTE, UTC, WORDS).over == [1, 2, 3, 4]
    assert fold(waiting, NOON - 1, 10 * MINUTE, UTC, WORDS).over == []


def test_what_may_have_arrived_or_is_under_way_is_left() -> None:
    """It must say itself that it may be a repeat."""
    for change in ({"uncertain": True}, {"state": State.TRYING}):
        first, over = came_and_went(1, "air")
        changed = replace(first, **change)
        folded = fold([changed, over, *came_and_went(3, "tank"), *came_and_went(5, "bed")], NOON, MINUTE, UTC, WORDS)
        assert folded.over == [3, 4, 5, 6]


def test_messages_about_no_alarm_are_left() -> None:
    """Signs of life and the like."""
    life = replace(made(9, "", "sign-of-life"), side="")
    folded = fold([life, *came_and_went(1, "air"), *came_and_went(3, "tank")], NOON, MINUTE, UTC, WORDS)
    assert 9 not in folded.over


def test_the_most_pressing_is_named_first_and_sets_the_priority() -> None:
    """As its own message would have overtaken, so does the one that tells of it."""
    waiting = [*came_and_went(1, "air"), *came_and_went(3, "water", priority="critical")]
    digest = fold(waiting, NOON, MINUTE, UTC, WORDS).digest
    assert digest is not None
    assert digest.priority == "critical"
    assert digest.body.startswith("water is wrong")


def test_many_fit_a_lock_screen_and_say_how_many_more() -> None:
    """Title and body keep their sizes."""
    waiting = [sending for n in range(40) for sending in came_and_went(2 * n + 1, f"rule_{n}_with_a_long_name")]
    digest = fold(waiting, NOON + 24 * HOUR, MINUTE, UTC, WORDS).digest
    assert digest is not None
    assert len(digest.title) <= TITLE_SIZE
    assert len(digest.body) <= BODY_SIZE
    assert "; 37 more. All are over." in digest.body
    assert "Mon 11:00" in digest.body


def test_it_is_told_in_the_sites_language() -> None:
    """Title and sentences; the alarms' own titles are the keeper's."""
    waiting = [*came_and_went(1, "Luft"), *came_and_went(3, "Becken", 40)]
    digest = fold(waiting, NOON, 10 * MINUTE, UTC, Words(texts_in("de"))).digest
    assert digest is not None
    assert digest.title == "2 Alarme kamen und gingen ohne Verbindung"
    assert digest.body == (
        "Luft is wrong, 11:00 bis 11:10; Becken is wrong, 11:20 bis 11:30. Alle sind vorbei. "
        "Zuerst: bei Gelegenheit ins Protokoll sehen."
    )
