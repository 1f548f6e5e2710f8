"""Which readings of a season can be believed? Day after day, with the flags that the quality tests end with."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from rules.block import Block, Source
from rules.durations import DAY
from rules.flags import Flag
from rules.local_time import Zone
from rules.plan import PointPlan
from rules.quality.all_points import Judged, PlanQuality


def believed(
    points: Iterable[PointPlan], source: Source, start: int, end: int, zone: Zone
) -> Iterator[dict[str, Block]]:
    """Of each UTC day, by point: the readings in [start, end) that rules would use, in order of time.

    A day is told once the next has been judged, for a test may judge a reading only by those that follow it.
    """
    named = {point.id: point for point in points}
    quality = PlanQuality(named.values(), zone)
    kept = [name for name in source.points() if name in named]
    waiting: dict[str, Block] = {}
    for day in range(start // DAY, -(-end // DAY)):
        after, upto = max(start, day * DAY) - 1, min(end, (day + 1) * DAY) - 1
        parts = {name: part for name in kept for part in source.read(name, after, upto) if len(part)}
        judged = quality.judge(parts, after)
        parts |= judged.parts
        _finish(judged, waiting, parts)
        if waiting:
            yield {name: _usable(named[name], part) for name, part in waiting.items()}
        waiting = parts
    if waiting:
        yield {name: _usable(named[name], part) for name, part in waiting.items()}


def _finish(judged: Judged, *days: Mapping[str, Block]) -> None:
    """Write the final flags into the days in which their readings lie."""
    for name, finals in judged.finals.items():
        for parts in days:
            part = parts.get(name)
            if part is None:
                continue
            there = np.isin(finals.times, part.times)
            part.flags[np.searchsorted(part.times, finals.times[there])] = finals.flags[there]


def _usable(point: PointPlan, part: Block) -> Block:
    good = [Flag.PASS, Flag.NOT_EVALUATED] + ([Flag.SUSPECT] if point.accept_suspect else [])
    chosen = np.isin(part.flags, [int(flag) for flag in good])
    return Block(part.point, part.times[chosen], part.values[chosen], part.flags[chosen], ordered=True)
