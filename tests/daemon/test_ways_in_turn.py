"""Does a person's second way wait for the first, and only so long?"""

from __future__ import annotations

from daemon.store import Sending, State
from daemon.ways_in_turn import InTurn, siblings, take_turns

AFTER = 300_000
PEOPLE = {"anna": InTurn(("phone", "mail", "pager"), AFTER)}


def made(number: int, way: str, person: str = "anna") -> Sending:
    """A message made at instant 0."""
    return Sending(f"key/{person}/{way}", person, way, "t", "b", "critical", "first", 0, number)


def turns(now: int, person: str = "anna", **states: State) -> tuple[set[int], list[int], int | None]:
    """Of one message by three ways, those of `states`: what is held, what is spared, and the wait."""
    ways = {"phone": 1, "mail": 2, "pager": 3}
    became = {f"key/{person}/{way}": state for way, state in states.items()}
    waiting = [made(ways[way], way, person) for way, state in states.items() if state is State.OWED]
    found = take_turns(waiting, dict.fromkeys(ways.values(), became), PEOPLE, now)
    return set(found.held), found.spared, found.wait


def test_later_ways_wait_while_the_first_may_work() -> None:
    """The second for so long, the third for twice as long."""
    owed = {"phone": State.OWED, "mail": State.OWED, "pager": State.OWED}
    assert turns(0, **owed) == ({2, 3}, [], AFTER)
    assert turns(AFTER - 1, **owed) == ({2, 3}, [], 1)
    assert turns(AFTER, **owed) == ({3}, [], AFTER)
    assert turns(2 * AFTER, **owed) == (set(), [], None)


def test_a_refusal_gives_the_turn_to_the_next_at_once() -> None:
    """And not to the one after it."""
    assert turns(0, phone=State.REFUSED, mail=State.OWED, pager=State.OWED) == ({3}, [], 2 * AFTER)


def test_what_one_way_took_is_spared_on_all_others() -> None:
    """Those after it, and those before it."""
    assert turns(AFTER, phone=State.OWED, mail=State.SENT, pager=State.OWED) == (set(), [1, 3], None)


def test_a_person_without_that_setting_is_told_by_all_ways_at_once() -> None:
    """Nothing is held or spared."""
    assert turns(0, "ben", phone=State.SENT, mail=State.OWED, pager=State.OWED) == (set(), [], None)


def test_a_way_whose_message_is_not_there_is_not_waited_for() -> None:
    """As when it was added to the site file later."""
    assert turns(0, mail=State.OWED) == (set(), [], None)


def test_siblings_differ_in_their_way_alone() -> None:
    """Whatever stands in the key."""
    sending = Sending("rule/phone/1/first/anna/mail", "anna", "mail", "", "", "", "", 0)
    assert list(siblings(sending, PEOPLE["anna"]).values()) == [
        f"rule/phone/1/first/anna/{way}" for way in ("phone", "mail", "pager")
    ]
