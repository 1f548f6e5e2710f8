"""When is a task of the keeper's overdue? When nothing of its kind was noted in the log for `every`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from rules.durations import Duration, show_duration
from rules.edges import FALSE, TRUE, Judged, negated, normal
from rules.events import show_time
from rules.running import Running
from rules.settings import RuleSettings
from rules.view import Surroundings, View


class OverdueSettings(RuleSettings):
    """No log entry of the kind `note` for `every`, counted from the last one, or from the engine's first instant."""

    kind: Literal["overdue"]
    note: str = Field(min_length=1, description="kind of the log entry that says it was done, as in solids_drained")
    every: Duration = Field(gt=0, description='how often it is to be done, as in "4 d"')
    point: str | None = Field(
        None, description="whose value stands beside it, as of the head across the filter; left out, the first point"
    )

    def build(self, around: Surroundings) -> Overdue:
        """The condition."""
        return Overdue(self.note, self.every, self.point, self.point or next(iter(around.points)))


class Overdue:
    """The compiled condition; it is never unknown. The calendar counts: a task falls due also while nothing runs."""

    rests_on: tuple[str, ...] = ()
    sides = ("overdue",)

    def __init__(self, note: str, every: int, own: str | None, point: str) -> None:
        self.note, self.every, self.own, self.point = note, every, own, point
        self.last: int | None = None
        """When it was done last, or from when on that is known; ms UTC."""
        self.done: list[int] = []
        """When it was done in this step, after the last time before it; ms UTC."""
        self.carry = FALSE

    def reach(self) -> Mapping[str, int]:
        """No window."""
        return {} if self.own is None else {self.own: 0}

    def edges(self, view: View) -> dict[str, Judged]:
        """side -> its edges in this step."""
        if self.last is None:
            self.last = view.before + 1
        self.done = [self.last]
        keys: list[int] = []
        truths: list[int] = []
        first = self.carry
        for time, kind in view.notes:
            if kind != self.note:
                continue
            if self.last + self.every < time:
                keys.append(2 * (self.last + self.every))
                truths.append(TRUE)
            keys.append(2 * time)
            truths.append(FALSE)
            self.last = time
            self.done.append(time)
        if 2 * (self.last + self.every) <= view.upto:
            keys.append(2 * (self.last + self.every))
            truths.append(TRUE)
        # What was due before this step was told then.
        begin = next((index for index, key in enumerate(keys) if key >> 1 > view.before), len(keys))
        found = normal(first, keys[begin:], truths[begin:])
        self.carry = found.last
        return {"overdue": Judged(found, negated(found))}

    def why(self, side: str, key: int) -> str:
        """Since when it was not done, as of an instant of the present step."""
        last = next((time for time in reversed(self.done) if 2 * time <= key), self.last or 0)
        return f"no {self.note} noted since {show_time(last)}; it is due every {show_duration(self.every)}"

    def next_due(self, running: Running) -> int | None:
        """When it falls due."""
        return None if self.last is None or self.carry == TRUE else self.last + self.every

    def state(self) -> list[int | None]:
        """When it was done last, and whether it is due."""
        return [self.last, self.carry]

    def load(self, state: list[int | None]) -> None:
        """Take up what `state` gave."""
        self.last, self.carry = state[0], state[1] or FALSE
