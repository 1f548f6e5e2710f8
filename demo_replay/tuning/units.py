"""What is the smallest piece of a sweep that can be done anywhere? Some settings over one recording, to scores."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from demo_replay.tuning.band_sweep import BandGrid, sweep_band
from demo_replay.tuning.engine_sweep import Past, sweep_engine
from demo_replay.tuning.levels import Series
from demo_replay.tuning.scores import Measure, Scores, one_after_another, score
from rules.block import concatenate
from rules.plan import Plan
from rules.settings import RuleSettings

Done = Callable[[int], None]
"""Called with how many more settings are done."""


@dataclass(frozen=True, slots=True)
class Case:
    """One recording, with all that is needed to score settings on it. It can be sent to another process.

    plan, past: as `heard` gives them: whatever lacks readings is out of service, and every reading is usable.
    """

    name: str
    plan: Plan
    past: Past
    measure: Measure


class BandPart(NamedTuple):
    """Settings of a band without hours, seasons or gates: every combination of `grid`, for the high side of `point` or,
    where `low`, of its mirrored values. Numbered as in `grid`: limit, deadband, on-delay, off-delay."""

    point: str
    low: bool
    grid: BandGrid

    @property
    def size(self) -> int:
        """How many settings there are."""
        return len(self.grid.limits) * self.grid.a_limit

    def split(self, parts: int) -> Iterator[BandPart]:
        """The same settings in about so many parts, by limits."""
        for begin, end in _cuts(len(self.grid.limits), parts):
            yield self._replace(grid=self.grid._replace(limits=self.grid.limits[begin:end]))

    def scores(self, case: Case, done: Done) -> Scores:
        """Of each setting over the recording."""
        found: list[tuple[int, Scores]] = []
        for number, spells in sweep_band(series_of(case, self.point, low=self.low), self.grid):
            found.append((number, score(spells, self.grid.a_limit, case.measure)))
            done(self.grid.a_limit)
        return one_after_another([scores for _, scores in sorted(found, key=lambda item: item[0])])


class EnginePart(NamedTuple):
    """Settings of a rule of any kind, one side of it."""

    variants: tuple[RuleSettings, ...]
    side: str

    @property
    def size(self) -> int:
        """How many settings there are."""
        return len(self.variants)

    def split(self, parts: int) -> Iterator[EnginePart]:
        """The same settings in about so many parts."""
        for begin, end in _cuts(len(self.variants), parts):
            yield self._replace(variants=self.variants[begin:end])

    def scores(self, case: Case, done: Done) -> Scores:
        """Of each setting over the recording."""
        spells = sweep_engine(case.plan, self.variants, self.side, case.past)
        done(len(self.variants))
        return score(spells, len(self.variants), case.measure)


Part = BandPart | EnginePart


def _cuts(length: int, parts: int) -> Iterator[tuple[int, int]]:
    each = -(-length // max(parts, 1))
    for begin in range(0, length, each):
        yield begin, min(begin + each, length)


def series_of(case: Case, point: str, *, low: bool) -> Series:
    """The usable readings of a point; mirrored for its low side."""
    plan = case.plan.point(point)
    begin, end = case.past.span
    part = concatenate(point, case.past.source.read(point, begin - 1, end))
    return Series(part.times, -part.values if low else part.values, plan.stale_after, end)
