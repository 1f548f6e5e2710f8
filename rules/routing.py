"""Who is told of an alarm, and when is the next person's turn?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from rules.alarms import Alarm, State
from rules.delays import due_key
from rules.messages import Writer
from rules.people import PersonSettings
from rules.plan import Plan
from rules.running import Running
from rules.settings import RuleSettings


class Telling(NamedTuple):
    """One message to one person that follows from an alarm. purpose: first, next or recovery."""

    key: int
    person: str
    purpose: str
    rule: RuleSettings
    alarm: Alarm
    title: str
    text: str


class Router:
    """Remembers whom each standing alarm was told to and whose turn is next."""

    def __init__(self, plan: Plan, writer: Writer) -> None:
        self.persons = plan.persons
        self.writer = writer
        self.told: dict[tuple[str, str], tuple[int, list[str]]] = {}
        """(rule, side) -> the activation (its `since`) that was told, and the persons who heard of it."""

    def _tell(
        self, person: PersonSettings, purpose: str, rule: RuleSettings, alarm: Alarm, point: str, key: int, cause: str
    ) -> Telling:
        since, persons = self.told.get((alarm.rule, alarm.side), (alarm.since, []))
        self.told[alarm.rule, alarm.side] = (since, [*persons, person.id])
        title = self.writer.title(rule, alarm, point, key)
        body = self.writer.body(rule, alarm, point, key, cause)
        return Telling(key, person.id, purpose, rule, alarm, title, body)

    def raised(self, rule: RuleSettings, alarm: Alarm, point: str, key: int, cause: str = "") -> Iterator[Telling]:
        """An alarm has become unacknowledged. One that was explained for a while is not told a second time."""
        if self._heard(alarm) and self.told[alarm.rule, alarm.side][0] != alarm.since:
            del self.told[alarm.rule, alarm.side]
        heard = self._heard(alarm)
        for person in self.persons:
            if alarm.priority in person.priorities and person.after == 0 and person.id not in heard:
                yield self._tell(person, "first", rule, alarm, point, key, cause)

    def due(self, rule: RuleSettings, alarm: Alarm, point: str, key: int, running: Running) -> Iterator[Telling]:
        """Those whose turn has come because nobody acknowledged."""
        if alarm.state is not State.UNACKNOWLEDGED:
            return
        told = self._heard(alarm)
        for person in self.persons:
            if person.after and alarm.priority in person.priorities and person.id not in told:
                at = due_key(2 * alarm.raised, person.after, running)
                if at <= key:
                    yield self._tell(person, "next", rule, alarm, point, key, "")

    def next_turn(self, alarm: Alarm, running: Running) -> int | None:
        """The key at which the next person's turn comes, or None."""
        if alarm.state is not State.UNACKNOWLEDGED:
            return None
        told = self._heard(alarm)
        waits = [p.after for p in self.persons if p.after and alarm.priority in p.priorities and p.id not in told]
        return due_key(2 * alarm.raised, min(waits), running) if waits else None

    def over(self, rule: RuleSettings, alarm: Alarm, point: str, key: int) -> Iterator[Telling]:
        """An alarm has returned: those who were told of it hear that it is over."""
        told = self._heard(alarm)
        self.told.pop((alarm.rule, alarm.side), None)
        for person in self.persons:
            if person.recoveries and person.id in told:
                title, text = self.writer.over(rule, alarm, point, key)
                yield Telling(key, person.id, "recovery", rule, alarm, title, text)

    def _heard(self, alarm: Alarm) -> list[str]:
        return self.told.get((alarm.rule, alarm.side), (0, []))[1]

    def state(self) -> list[Any]:
        """What must survive a restart."""
        return [[rule, side, since, persons] for (rule, side), (since, persons) in self.told.items()]

    def load(self, state: list[Any]) -> None:
        """Take up what `state` gave."""
        self.told = {(rule, side): (since, persons) for rule, side, since, persons in state}
