"""Who is told, by what ways, and who is next?"""

from __future__ import annotations

from pydantic import Field

from rules.durations import Duration
from rules.settings import Priority, Settings


class PersonSettings(Settings):
    """A person who is told of alarms. Addresses are secrets and live outside the site file, by `way` name."""

    id: str = Field(pattern=r"^[a-z0-9_]+$")
    name: str = ""
    ways: tuple[str, ...] = Field(default=(), description="names of the secrets that hold how to reach this person")
    priorities: tuple[Priority, ...] = (Priority.CRITICAL, Priority.HIGH, Priority.MEDIUM)
    after: Duration = Field(default=0, description="told only if nobody acknowledged for so long (the one who is next)")
    recoveries: bool = Field(default=True, description="also told when it is over")
