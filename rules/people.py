"""Who is told, by what ways, when, and who is next?"""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field

from rules.durations import DAY, Duration
from rules.errors import SettingError
from rules.local_time import when
from rules.settings import Priority, Settings
from rules.time_of_day import time_of_day


def _hours(text: str) -> str:
    begin, end = when(text, None).hours or (0, 0)
    if (end - begin) % DAY == 0:
        raise SettingError(f"quiet hours {text!r} never end; leave some hours of the day in which messages come")
    return text


def _time(text: str) -> str:
    time_of_day(text)
    return text


Hours = Annotated[str, AfterValidator(_hours)]
"""Local hours, as in `"22:00-07:00"`."""
TimeOfDay = Annotated[str, AfterValidator(_time)]
"""A local time of day, as in `"07:30"`."""


class PersonSettings(Settings):
    """A person who is told of alarms. Addresses are secrets and live outside the site file, by `way` name."""

    id: str = Field(pattern=r"^[a-z0-9_]+$")
    name: str = ""
    ways: tuple[str, ...] = Field(default=(), description="names of the secrets that hold how to reach this person")
    ways_for: dict[Priority, tuple[str, ...]] = Field(
        default={}, description='other ways for a priority, as in { critical = ["anna_loud", "anna_phone"] }'
    )
    priorities: tuple[Priority, ...] = (Priority.CRITICAL, Priority.HIGH, Priority.MEDIUM)
    after: Duration = Field(default=0, description="told only if nobody acknowledged for so long (the one who is next)")
    recoveries: bool = Field(default=True, description="also told when it is over")
    quiet: Hours | None = Field(
        default=None,
        description='local hours in which messages wait, as in "22:00-07:00"; what still stands is told at their end',
    )
    quiet_passes: tuple[Priority, ...] = Field(
        default=(Priority.CRITICAL,), description="priorities that break through quiet hours; critical always does"
    )
    digest: TimeOfDay | None = Field(
        default=None, description="when the alarms whose priority is not told singly are listed, once a day"
    )
    sign_of_life: TimeOfDay | None = Field(default=None, description="when a message says daily that all is watched")

    def ways_of(self, priority: Priority) -> tuple[str, ...]:
        """The ways by which a message of a priority goes."""
        return self.ways_for.get(priority, self.ways)

    def every_way(self) -> tuple[str, ...]:
        """All ways by which messages of any priority go, each once."""
        return tuple(dict.fromkeys((*self.ways, *(way for own in self.ways_for.values() for way in own))))

    def passes(self, priority: Priority) -> bool:
        """Whether a message of a priority breaks through quiet hours."""
        return priority is Priority.CRITICAL or priority in self.quiet_passes
