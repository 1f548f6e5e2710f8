"""Which flag does each reading of a step get, over all points of a plan?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from rules.block import Block, Flags
from rules.events import Event
from rules.local_time import Zone
from rules.quality.neighbour import as_they_came
from rules.quality.quality import Finals, Quality
from rules.quality.trust import Trust

if TYPE_CHECKING:
    from rules.plan import PointPlan


class Judged(NamedTuple):
    """What the tests said in one step, of points that have some.

    parts: by point, its readings with the flags as known when judged; finals: by point, earlier readings whose final
    flag is another; events: where readings ceased or began to be believed.
    """

    parts: dict[str, Block]
    finals: dict[str, Finals]
    events: list[Event]


NOTHING_JUDGED = Judged({}, {}, [])


class PlanQuality:
    """The tests of all points that have some."""

    def __init__(self, points: Iterable[PointPlan], zone: Zone) -> None:
        """points: the measured points. Raises SettingError, UnitError or ValueRefused for settings that do not fit."""
        known = {point.id: point for point in points}
        self.points = {name: Quality(point.quality, point, zone) for name, point in known.items() if point.quality}
        self.trust = {name: Trust(known[name]) for name in self.points}
        self.neighbours: set[str] = set()
        for quality in self.points.values():
            if quality.neighbour is not None:
                quality.neighbour.know(known)
                self.neighbours.update(quality.neighbour.names)

    def judge(self, parts: Mapping[str, Block], before: int) -> Judged:
        """Judge what each point said in this step: readings in order of time, none older than what was judged before.

        parts: those of points that said something. before: the frontier (ms); an older reading is heard right after it.
        """
        if not self.points:
            return NOTHING_JUDGED
        halves = {name: quality.begin(parts[name]) for name, quality in self.points.items() if name in parts}
        near = {
            name: halves[name].usable() if name in halves else as_they_came(parts[name])
            for name in self.neighbours
            if name in parts
        }
        judged = Judged({}, {}, [])
        for name, half in halves.items():
            flags, finals = self.points[name].finish(half, near)
            part = parts[name]
            judged.parts[name] = part = Block(name, part.times, part.values, flags)
            if len(finals):
                judged.finals[name] = finals
            at = part.times if part.times[0] > before else np.maximum(part.times, before + 1)
            judged.events.extend(self.trust[name].events(part, at, self.points[name].blame))
        for name, quality in self.points.items():
            if name not in halves and quality.neighbour is not None:
                quality.neighbour.hear(near)
        return judged

    def state(self) -> dict[str, Any]:
        """What must survive a restart, as JSON."""
        return {name: [quality.state(), self.trust[name].state()] for name, quality in self.points.items()}

    def load(self, state: Mapping[str, Any]) -> None:
        """Take up what `state` gave; points that it does not know begin anew."""
        for name, quality in self.points.items():
            if name in state:
                tests, trust = state[name]
                quality.load(tests)
                self.trust[name].load(trust)


def final_flags(points: Iterable[PointPlan], parts: Mapping[str, Block], zone: Zone) -> dict[str, Flags]:
    """The flags with which the readings of a whole recording end: by point, uint8[n]; for points that have tests.

    parts: all readings of each point, in order of time.
    """
    judged = PlanQuality(points, zone).judge({name: part for name, part in parts.items() if len(part)}, -(2**62))
    flags = {name: part.flags for name, part in judged.parts.items()}
    for name, finals in judged.finals.items():
        flags[name][np.searchsorted(parts[name].times, finals.times)] = finals.flags
    return flags
