"""Which flag does each reading of a step get, over all points of a plan?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from rules.block import Block, Flags
from rules.local_time import Zone
from rules.quality.neighbour import as_they_came
from rules.quality.quality import Finals, Quality

if TYPE_CHECKING:
    from rules.plan import PointPlan


class Judged(NamedTuple):
    """What the tests said in one step: by point, the flags of its readings, and the final flags of earlier ones."""

    flags: dict[str, Flags]
    finals: dict[str, Finals]


class PlanQuality:
    """The tests of all points that have some."""

    def __init__(self, points: Iterable[PointPlan], zone: Zone) -> None:
        """points: the measured points. Raises SettingError, UnitError or ValueRefused for settings that do not fit."""
        known = {point.id: point for point in points}
        self.points = {name: Quality(point.quality, point, zone) for name, point in known.items() if point.quality}
        self.neighbours: set[str] = set()
        for quality in self.points.values():
            if quality.neighbour is not None:
                quality.neighbour.know(known)
                self.neighbours.update(quality.neighbour.names)

    def judge(self, parts: Mapping[str, Block]) -> Judged:
        """Judge what each point said in this step: readings in order of time, none older than what was judged before.

        A point that said nothing may be left out; so may one without tests, but not if others are compared with it.
        """
        halves = {name: quality.begin(parts[name]) for name, quality in self.points.items() if name in parts}
        near = {
            name: halves[name].usable() if name in halves else as_they_came(parts[name])
            for name in self.neighbours
            if name in parts
        }
        judged = Judged({}, {})
        for name, half in halves.items():
            judged.flags[name], finals = self.points[name].finish(half, near)
            if len(finals):
                judged.finals[name] = finals
        for name, quality in self.points.items():
            if name not in halves and quality.neighbour is not None:
                quality.neighbour.hear(near)
        return judged

    def state(self) -> dict[str, Any]:
        """What must survive a restart, as JSON."""
        return {name: quality.state() for name, quality in self.points.items()}

    def load(self, state: Mapping[str, Any]) -> None:
        """Take up what `state` gave; points that it does not know begin anew."""
        for name, quality in self.points.items():
            if name in state:
                quality.load(state[name])


def final_flags(points: Iterable[PointPlan], parts: Mapping[str, Block], zone: Zone) -> dict[str, Flags]:
    """The flags with which the readings of a whole recording end: by point, uint8[n]; for points that have tests.

    parts: all readings of each point, in order of time.
    """
    judged = PlanQuality(points, zone).judge(parts)
    for name, finals in judged.finals.items():
        judged.flags[name][np.searchsorted(parts[name].times, finals.times)] = finals.flags
    return judged.flags
