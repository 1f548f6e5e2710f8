"""Which alarms stood, from when to when, and how far did the value go?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from rules.alarms import State
from rules.block import Source
from rules.events import Event
from rules.flags import Flag
from rules.plan import PointPlan

_STANDS = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.SUPPRESSED)
_SET_ASIDE = (State.SHELVED, State.OUT_OF_SERVICE)
_RISING = ("high", "rise")
_FALLING = ("low", "fall")


@dataclass(slots=True)
class Episode:
    """One time that one side of a rule stood in alarm. Times in ms UTC.

    onset: since when its condition was true; raised: when its delay was over; ended: when it returned, None where it
    still stood; told: when it first became unacknowledged, None where it was explained by another all along; state:
    what became of it; value, unit: at `raised`, in the point's unit.
    """

    rule: str
    side: str
    priority: str
    onset: int
    raised: int
    ended: int | None
    told: int | None
    state: str
    value: float | None
    unit: str
    why: str

    def lasted(self, end: int) -> int:
        """From its onset to its return, or to `end` where it still stood, ms."""
        return (end if self.ended is None else self.ended) - self.onset


def episodes(events: Iterable[Event]) -> list[Episode]:
    """Every time that an alarm stood, in the order in which they were raised."""
    found: list[Episode] = []
    standing: dict[tuple[str, str], Episode] = {}
    latest: dict[tuple[str, str], Episode] = {}
    for event in events:
        if event.type != "alarm":
            continue
        body: Mapping[str, Any] = event.body
        name, state = (body["rule"], body["side"]), State(body["state"])
        now = standing.get(name)
        if now is None and state in _STANDS:
            now = standing[name] = latest[name] = Episode(
                rule=body["rule"],
                side=body["side"],
                priority=body["priority"],
                onset=body["since"],
                raised=event.t,
                ended=None,
                told=None,
                state=state.value,
                value=body["value"],
                unit=body["unit"],
                why=body["why"],
            )
            found.append(now)
        elif now is not None and state not in _STANDS and state not in _SET_ASIDE:
            now.ended = event.t
            del standing[name]
        if name in latest:
            latest[name].state = state.value
        if now is not None and now.told is None and state is State.UNACKNOWLEDGED:
            now.told = event.t
    return found


def called(rule: str, side: str) -> str:
    """`tank.oxygen low`; a side that the rule's name tells already is left out, as in `loop.stopped`."""
    return rule if side in rule.replace("_", ".").split(".") else f"{rule} {side}"


class Peak(NamedTuple):
    """The farthest that a value went: when (ms UTC), and counts of the point's resolution."""

    point: PointPlan
    time: int
    counts: int


def peak(point: PointPlan, source: Source, episode: Episode, end: int) -> Peak | None:
    """The highest value of an alarm on a high side, the lowest on a low side, from its onset to its return or `end`.

    point: whose value the alarm's events show. The first of equal values; None for sides that have no direction, and
    where no reading was usable.
    """
    if episode.side not in _RISING + _FALLING:
        return None
    last = end if episode.ended is None else episode.ended
    worst: Peak | None = None
    for block in source.read(point.id, episode.onset - 1, last):
        usable = block.flags <= (Flag.SUSPECT if point.accept_suspect else Flag.NOT_EVALUATED)
        if not usable.any():
            continue
        times, values = block.times[usable], block.values[usable]
        at = int(np.argmax(values) if episode.side in _RISING else np.argmin(values))
        counts = int(values[at])
        if worst is None or (counts > worst.counts if episode.side in _RISING else counts < worst.counts):
            worst = Peak(point, int(times[at]), counts)
    return worst
