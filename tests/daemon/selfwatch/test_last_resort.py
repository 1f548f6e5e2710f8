"""Is somebody told when nothing can be stored, once and not in a stream?"""

from __future__ import annotations

from adapters.notify import Outcome, Result
from adapters.secrets import SecretUrl
from daemon.selfwatch.last_resort import AFTER, AGAIN_AFTER, LastResort
from rules.people import PersonSettings
from rules.settings import Priority
from rules.texts import ENGLISH
from tests.rules.told import site


class Phone:
    """Keeps what it gets."""

    def __init__(self) -> None:
        self.got: list[tuple[str, str, str]] = []

    def send(
        self, way: SecretUrl, title: str, body: str, message_id: str, priority: str, purpose: str = "first"
    ) -> Outcome:
        """As Notifier."""
        self.got.append((way.name, title, body))
        return Outcome(Result.DELIVERED)


def last_resort(phone: Phone) -> LastResort:
    """Anna is told of critical alarms, Ben is not."""
    persons = (
        PersonSettings(id="anna", ways=("phone", "unknown")),
        PersonSettings(id="ben", ways=("mail",), priorities=(Priority.LOW,)),
    )
    ways = {name: SecretUrl(name, f"json://{name}") for name in ("phone", "mail")}
    return LastResort(lambda: site([], persons), phone, ways)


def look(one: LastResort, stalled: float, at: float) -> None:
    """Look, and wait for what is told."""
    thread = one.look(stalled, at, 1)
    if thread is not None:
        thread.join()


def test_it_tells_those_who_are_told_of_critical_alarms_from_the_time_on() -> None:
    """Not below it; by ways that have an address."""
    phone = Phone()
    one = last_resort(phone)
    look(one, AFTER - 0.5, 0)
    assert phone.got == []
    look(one, AFTER, 1)
    assert [(way, title) for way, title, _ in phone.got] == [("phone", f"{ENGLISH['unstored.title']}: Alder Lane")]
    assert "First: look at the place yourself" in phone.got[0][2]


def test_it_tells_again_only_hours_later_or_after_it_had_been_well() -> None:
    """However often it looks."""
    phone = Phone()
    one = last_resort(phone)
    for second in range(100):
        look(one, AFTER + second, second)
    assert len(phone.got) == 1
    look(one, AFTER, AGAIN_AFTER - 1)
    assert len(phone.got) == 1
    look(one, AFTER, AGAIN_AFTER)
    assert len(phone.got) == 2
    look(one, 0, AGAIN_AFTER + 1)
    look(one, AFTER, AGAIN_AFTER + 2)
    assert len(phone.got) == 3
