"""What may a condition look at in one step?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from rules.edges import Edges, Judged
from rules.local_time import Zone
from rules.plan import PointPlan
from rules.running import Running
from rules.span import Span


@dataclass(slots=True)
class View:
    """One step: spans of all points after the time `before`, up to and including the instant `upto` (a key)."""

    spans: Mapping[str, Span]
    running: Running
    upto: int
    before: int = 0
    """The frontier before this step, ms."""
    notes: list[tuple[int, str]] = field(default_factory=list)
    """(time, kind) of the log entries of this step, in order."""
    conditions: dict[str, Edges] = field(default_factory=dict)
    """rule -> its condition as other rules see it: with its deadband, without its delays."""
    stirred: set[str] = field(default_factory=set)
    """The points that said something or fell silent in this step, and the rules whose conditions changed."""


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a condition may need to know when it is built."""

    points: Mapping[str, PointPlan]
    zone: Zone


class Condition(Protocol):
    """A statement about points that is true, false or unknown over time."""

    sides: tuple[str, ...]
    """Each is an alarm of its own."""
    point: str
    """Whose value an event shows; empty: that of the first rule it rests on."""
    rests_on: tuple[str, ...]
    """The rules whose conditions it looks at."""

    def reach(self) -> Mapping[str, int]:
        """point -> how far back (ms) its windows look."""

    def edges(self, view: View) -> dict[str, Judged]:
        """side -> its edges in this step."""

    def why(self, side: str, key: int) -> str:
        """What made it true at an instant of the present step, for the log."""

    def next_due(self, running: Running) -> int | None:
        """When (ms) a waiting of its own ends, such as evidence that must last; None where it has none."""

    def state(self) -> Any:
        """What must survive a restart, as JSON."""

    def load(self, state: Any) -> None:
        """Take up what `state` gave."""
