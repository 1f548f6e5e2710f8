"""What has been said of one activation of an alarm, and to whom?"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any

from rules.alarms import Alarm


@dataclass(slots=True)
class Heard:
    """What a person has heard of a case: keys of the first and last message, how many, whether of this alarm itself."""

    began: int
    key: int
    times: int
    singly: bool


@dataclass(slots=True)
class Case:
    """One activation of one alarm, from its becoming unacknowledged until all who heard of it know that it is over."""

    alarm: Alarm
    since: int
    """As of the alarm, ms."""
    raised: int
    """Key at which it last became unacknowledged."""
    drill: bool = False
    heard: dict[str, Heard] = field(default_factory=dict)
    over: int | None = None
    """Key at which it was over."""
    again: int | None = None
    """Key from which on those who have heard of it are owed a reminder, since it was set aside meanwhile."""
    seen: bool = True
    """False: told even where acknowledged, since that was for a drill."""
    note: list[str] = field(default_factory=list)
    """Who is still to be told that it chatters."""

    @property
    def side(self) -> tuple[str, str]:
        """Rule and side."""
        return self.alarm.rule, self.alarm.side

    def hear(self, person: str, key: int, *, singly: bool) -> None:
        """A person is told of it, by itself or among others."""
        before = self.heard.get(person, Heard(key, key, 0, singly=False))
        self.heard[person] = Heard(before.began, key, before.times + 1, before.singly or singly)

    def forget_the_rest(self) -> None:
        """As if those who heard of it only among others had not."""
        self.heard = {person: heard for person, heard in self.heard.items() if heard.singly}

    def saved(self) -> list[Any]:
        """As JSON."""
        heard = [[person, *dataclasses.astuple(heard)] for person, heard in self.heard.items()]
        return [self.since, self.raised, self.drill, heard, self.over, self.again, self.seen, self.note]

    @classmethod
    def restored(cls, alarm: Alarm, saved: list[Any]) -> Case:
        """What `saved` gave."""
        since, raised, drill, heard, over, again, seen, note = saved
        told = {person: Heard(*fields) for person, *fields in heard}
        return cls(alarm, since, raised, drill, told, over, again, seen, note)
