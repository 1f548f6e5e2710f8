"""What is told once a day: the list of what is not told singly, and that all is watched?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from rules.alarms import Alarm
from rules.messages import Told, Writer
from rules.people import PersonSettings
from rules.plan import Plan
from rules.routing import Telling
from rules.running import Running
from rules.settings import Priority
from rules.time_of_day import next_at, time_of_day

DIGEST, SIGN_OF_LIFE = "digest", "sign-of-life"
KnownOf = Callable[[Alarm, int], Told]
"""What a message needs to know of an alarm at an instant."""


class DailyMessages:
    """Each person's digest and sign of life, at their own time of day."""

    def __init__(self, plan: Plan, writer: Writer, running: Running, start: int) -> None:
        """start: the first instant, ms UTC."""
        self.plan, self.writer, self.running = plan, writer, running
        self._name = plan.name
        self._times: dict[tuple[str, str], tuple[int, int]] = {}
        """(person, purpose) -> time of day, and when it comes next (ms UTC)."""
        self._since: dict[str, int] = {}
        """person -> since when alarms belong to the next digest."""
        self._raised: list[tuple[int, str, str]] = []
        """(ms, rule, side) of what was raised and is told to somebody in a digest."""
        for person in plan.persons:
            for purpose, text in ((DIGEST, person.digest), (SIGN_OF_LIFE, person.sign_of_life)):
                if text is not None:
                    of_day = time_of_day(text)
                    self._times[person.id, purpose] = (of_day, next_at(of_day, start - 1, writer.zone))
            if person.digest is not None:
                self._since[person.id] = start
        self._listed = [p for p in Priority if any(self._lists(person, p) for person in plan.persons)]

    @staticmethod
    def _lists(person: PersonSettings, priority: Priority) -> bool:
        return person.digest is not None and priority not in person.priorities

    def raised(self, alarm: Alarm, key: int) -> None:
        """An alarm is newly raised."""
        if alarm.priority in self._listed:
            self._raised.append((key >> 1, alarm.rule, alarm.side))

    def due(
        self,
        key: int,
        alarms: Mapping[str, Mapping[str, Alarm]],
        standing: Callable[[], Sequence[Alarm]],
        known: KnownOf,
    ) -> list[Telling]:
        """What is told at an instant. standing: gives the alarms that somebody should be told of."""
        if all(self._watched(at) > key for _, at in self._times.values()):
            return []
        found: list[Telling] = []
        for person in self.plan.persons:
            for purpose in (DIGEST, SIGN_OF_LIFE):
                of_day, at = self._times.get((person.id, purpose), (0, 0))
                if not at or self._watched(at) > key:
                    continue
                self._times[person.id, purpose] = (of_day, next_at(of_day, key >> 1, self.writer.zone))
                if purpose == SIGN_OF_LIFE:
                    title, text = self.writer.well(self._name, [known(alarm, key) for alarm in standing()], key)
                    found.append(Telling(key, person, purpose, Priority.LOW, None, title, text))
                else:
                    found += self._digest(person, key, alarms, known)
        oldest = min(self._since.values(), default=0)
        self._raised = [item for item in self._raised if item[0] >= oldest]
        return found

    def _digest(
        self, person: PersonSettings, key: int, alarms: Mapping[str, Mapping[str, Alarm]], known: KnownOf
    ) -> Iterator[Telling]:
        since, now = self._since[person.id], key >> 1
        self._since[person.id] = now
        times: dict[tuple[str, str], int] = {}
        for at, rule, side in self._raised:
            alarm = alarms.get(rule, {}).get(side)
            if alarm is not None and since <= at < now and self._lists(person, alarm.priority):
                times[rule, side] = times.get((rule, side), 0) + 1
        if times:
            found = [(known(alarms[rule][side], key), count) for (rule, side), count in times.items()]
            title, text = self.writer.digest(self._name, found, since, now)
            yield Telling(key, person, DIGEST, Priority.LOW, None, title, text)

    def timers(self) -> Iterator[int]:
        """The keys at which something is told next."""
        yield from (self._watched(at) for _, at in self._times.values())

    def _watched(self, at: int) -> int:
        """The key of a time, or of the end of the span around it in which nothing ran and nobody could speak."""
        return 2 * next((end for begin, end in self.running.spans if begin <= at < end), at)

    def state(self) -> dict[str, Any]:
        """What must survive a restart."""
        return {
            "times": [[*which, *times] for which, times in self._times.items()],
            "since": self._since,
            "raised": self._raised,
        }

    def load(self, state: dict[str, Any], frontier: int) -> None:
        """Take up what `state` gave; a time of day that is new or has changed counts from the frontier (ms) on."""
        saved = {(person, purpose): (of_day, at) for person, purpose, of_day, at in state["times"]}
        for which, (of_day, _) in self._times.items():
            before = saved.get(which)
            again = before is not None and before[0] == of_day
            self._times[which] = before if before and again else (of_day, next_at(of_day, frontier, self.writer.zone))
        for person in self._since:
            self._since[person] = state["since"].get(person, frontier + 1)
        self._raised = [(at, rule, side) for at, rule, side in state["raised"]]
