"""What is published of a recorded span, in which order, and with which times of a played clock?"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from rules.block import Source, concatenate
from rules.door import as_decimal
from rules.durations import HOUR
from rules.events import show_time
from rules.flags import Flag
from rules.plan import PointPlan

TICK = 20_000
"""ms of the recording between two times of the played clock."""


class Message(NamedTuple):
    """One reading on its way. time: ms UTC; counts: of the point's resolution; flag: see rules.flags."""

    point: str
    time: int
    counts: int
    flag: int
    payload: bytes


class Moment(NamedTuple):
    """The readings up to `clock` (ms UTC) that were not in the moment before, in order of time."""

    clock: int
    messages: list[Message]


def script(source: Source, points: Sequence[PointPlan], begin: int, end: int, settle: int) -> Iterator[Moment]:
    """What is played from `begin` to `end` (ms UTC, both included): one moment each TICK, the last at `end + settle`.

    The first moment is `begin` itself, without any reading: a clock that starts there judges the same as a replay of
    just these readings. Readings of equal time come in the order of `points`. Memory holds about an hour at a time.
    """
    yield Moment(begin, [])
    clock = begin - 1
    while clock < end:
        upto = min(clock + HOUR, end)
        hour = _messages(source, points, clock, upto)
        first = 0
        while clock < upto:
            clock = min(clock + TICK, upto)
            last = bisect_right(hour, clock, lo=first, key=lambda message: message.time)
            yield Moment(clock, hour[first:last])
            first = last
    yield Moment(end + settle, [])


def _messages(source: Source, points: Sequence[PointPlan], after: int, upto: int) -> list[Message]:
    found: list[Message] = []
    for point in points:
        part = concatenate(point.id, source.read(point.id, after, upto))
        written: dict[int, str] = {}
        for t, counts, flag in zip(part.times.tolist(), part.values.tolist(), part.flags.tolist(), strict=True):
            if flag == Flag.MISSING:
                value = "null"
            else:
                value = written.get(counts) or written.setdefault(counts, _number(counts, point))
            payload = f'{{"t":"{show_time(t)}","v":{value}}}'.encode()
            found.append(Message(point.id, t, counts, flag, payload))
    order = np.argsort(np.array([message.time for message in found], np.int64), kind="stable")
    return [found[index] for index in order.tolist()]


def _number(counts: int, point: PointPlan) -> str:
    return format(as_decimal(counts, point.resolution), "f")
