"""Whose turn is it to be told of an alarm: at once, when nobody acknowledges, or never?"""

from __future__ import annotations

from collections.abc import Collection, Iterable

from rules.cases import Case
from rules.message_settings import MessageSettings
from rules.people import PersonSettings
from rules.settings import Priority
from rules.standing_orders import StandingOrders


class Turns:
    """Who is told at once and who next, also while somebody is away."""

    def __init__(self, persons: tuple[PersonSettings, ...], orders: StandingOrders, settings: MessageSettings) -> None:
        self._persons, self._orders, self._away_waits = persons, orders, settings.away_waits

    def shortened(self, wait: int) -> int:
        """How long is waited for an answer (ms) where it is usually `wait`: less while somebody is away."""
        return wait if self._orders.away is None else int(wait * self._away_waits)

    def wait(self, person: PersonSettings, priority: Priority) -> int | None:
        """How long a person's turn is waited for (ms); None where such alarms are not theirs.

        While somebody is away, who is on duty stands in for all who are told at once, a second one is told too, and
        the others wait for less long.
        """
        away = self._orders.away
        own = priority in person.priorities
        if away is None:
            return person.after if own else None
        if person.id in away.on_duty:
            firsts = {one for other in self._persons if not other.after for one in other.priorities}
            return 0 if own or priority in firsts else None
        if not own:
            return None
        second = second_told([p for p in self._persons if priority in p.priorities], away.on_duty)
        return 0 if person.id == second else self.shortened(person.after)

    def counted_from(self, case: Case) -> int | None:
        """The key from which on the next person's turn is counted; None while those before have yet to be told.

        Where nobody is to be told at once it counts from when the alarm was raised.
        """
        firsts = [person for person in self._persons if self.wait(person, case.alarm.priority) == 0]
        if not firsts:
            return case.raised
        began = [case.heard[person.id].began for person in firsts if person.id in case.heard]
        return max(case.raised, min(began)) if began else None


def second_told(persons: Iterable[PersonSettings], on_duty: Collection[str]) -> str:
    """Who is told at once beside those on duty, of the persons to whom an alarm belongs; "" where there is nobody."""
    return next((person.id for person in persons if person.id not in on_duty), "")
