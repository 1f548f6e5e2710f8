"""What has come since the last commit, and is not on disk yet?"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np

from adapters.intake import Arrived
from daemon.store import Sending
from rules.acts import Act
from rules.block import Block
from rules.events import Event
from rules.quality.quality import Finals


class Dater:
    """Dates readings that carry no time of their own: on arrival, at the next free millisecond of their point."""

    def __init__(self) -> None:
        self._last: dict[str, int] = {}

    def date(self, reading: Arrived, now: int) -> int:
        """The reading's time, ms UTC."""
        last = self._last.get(reading.point, 0)
        time = reading.time if reading.time is not None else max(now, last + 1)
        self.heard(reading.point, time)
        return time

    def heard(self, point: str, time: int) -> None:
        """A reading of that time has come."""
        if time > self._last.get(point, 0):
            self._last[point] = time

    def newest(self, point: str) -> int:
        """The latest time of a point's readings so far, ms UTC; 0 before the first."""
        return self._last.get(point, 0)


class Columns:
    """Readings on their way into blocks."""

    def __init__(self) -> None:
        self._points: dict[str, tuple[list[int], list[int], list[int]]] = {}
        self.count = 0

    def add(self, point: str, time: int, counts: int, flag: int) -> None:
        """One reading."""
        columns = self._points.get(point)
        if columns is None:
            columns = self._points[point] = ([], [], [])
        columns[0].append(time)
        columns[1].append(counts)
        columns[2].append(flag)
        self.count += 1

    def blocks(self) -> list[Block]:
        """All of them, a block a point, in the order in which they came; leaves nothing behind."""
        blocks = [
            Block(point, np.array(t, np.int64), np.array(v, np.int64), np.array(f, np.uint8))
            for point, (t, v, f) in self._points.items()
        ]
        self._points, self.count = {}, 0
        return blocks


class Batch(NamedTuple):
    """What one commit puts on disk together."""

    blocks: list[Block]
    events: list[Event]
    acts: list[Act]
    owed: list[Sending]
    behind: list[tuple[str, int]]
    taken: list[int]
    done: list[Callable[[], None]]
    judged: list[Block]
    finals: list[tuple[str, Finals]]

    @classmethod
    def empty(cls) -> Batch:
        """Nothing yet."""
        return cls(*([] for _ in cls._fields))

    @property
    def urgent(self) -> bool:
        """Whether an alarm changed or somebody is to be told, which is not kept waiting."""
        return bool(self.owed) or any(event.type in ("alarm", "fault") for event in self.events)

    @property
    def anything(self) -> bool:
        """Whether there is something to write."""
        return bool(self.blocks or self.events or self.acts or self.owed or self.taken or self.done)


def sendings(events: Iterable[Event], ways: dict[str, tuple[str, ...]]) -> list[Sending]:
    """What the notices among `events` owe to people: one sending by each way that the notice names.

    events: of one step. Of the repeats of an alarm that fell due while a step was held back, the last says it all.
    ways: person -> ways, for a notice that names none.
    """
    told = [event for event in events if event.type == "notice"]
    last = {_repeated(event): event for event in told if event.body["purpose"] == "repeat"}
    return [
        Sending(
            message_id=f"{event.body['key']}/{way}",
            person=event.body["person"],
            way=way,
            title=event.body["title"],
            body=event.body["text"],
            priority=event.body["priority"],
            purpose=event.body["purpose"],
            created=event.t,
            rule=event.body.get("rule") or "",
            side=event.body.get("side") or "",
        )
        for event in told
        if event.body["purpose"] != "repeat" or last[_repeated(event)] is event
        for way in event.body.get("ways", ways.get(event.body["person"], ()))
    ]


def _repeated(event: Event) -> tuple[str, ...]:
    return tuple(str(event.body.get(key)) for key in ("person", "rule", "side", "priority"))
