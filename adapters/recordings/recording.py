"""What is a recording? Readings of a past span in memory, sorted, with an account of what was left out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from adapters.recordings.narrow import Narrow
from rules.block import Block, first_of_each_time
from rules.errors import TidebedError


class RecordingRefused(TidebedError):
    """A file that cannot be read as a recording, or a bad line where the caller wanted none."""


class BadLine(NamedTuple):
    """A line that was skipped. line: 1 for the first of the file; in SenML the place of the record in its pack."""

    file: str
    line: int
    reason: str


@dataclass(slots=True)
class Recording:
    """A Source (rules.block) in memory.

    blocks: a block a point; sorted here, the first of equal times kept; Narrow where there are many. series: point ->
    (unit, resolution) of its counts. bad_lines: the skipped lines in order, at most MOST_BAD_LINES of them; bad_count:
    how many there were. ignored: readings of points that the plan lacks. rounded: readings that lost a remainder to
    the resolution.
    repeats: readings left out because the same point had one at that time before. twice: local times that the clock
    change repeats, of which the first was taken. spans: first and last time in ms UTC of each file that was read for a
    plan.
    """

    blocks: Mapping[str, Block]
    series: Mapping[str, tuple[str, Fraction]] = field(default_factory=dict)
    bad_lines: list[BadLine] = field(default_factory=list)
    bad_count: int = 0
    ignored: dict[str, int] = field(default_factory=dict)
    rounded: int = 0
    repeats: int = 0
    twice: int = 0
    spans: list[tuple[int, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        if isinstance(self.blocks, Narrow):
            self.repeats += self.blocks.repeats
            return
        blocks: dict[str, Block] = {}
        for point, part in self.blocks.items():
            blocks[point], repeats = first_of_each_time(part)
            self.repeats += repeats
        self.blocks = blocks

    def gaps(self, longer_than: int) -> list[tuple[int, int]]:
        """(end, beginning) in ms UTC of what no file covers between two files, where that lasts longer."""
        found, last = [], None
        for begin, end in sorted(self.spans):
            if last is not None and begin - last > longer_than:
                found.append((last, begin))
            last = end if last is None else max(last, end)
        return found

    def points(self) -> list[str]:
        """The points that have readings here, in the order in which they were met."""
        if isinstance(self.blocks, Narrow):
            return list(self.blocks.spans())
        return [point for point, part in self.blocks.items() if len(part)]

    def span(self) -> tuple[int, int] | None:
        """First and last time over all points in ms UTC, or None when there is nothing."""
        if isinstance(self.blocks, Narrow):
            spans = list(self.blocks.spans().values())
        else:
            spans = [(int(part.times[0]), int(part.times[-1])) for part in self.blocks.values() if len(part)]
        return (min(first for first, _ in spans), max(last for _, last in spans)) if spans else None

    def read(self, point: str, after: int, upto: int) -> Iterator[Block]:
        """The readings of `point` with after < time <= upto."""
        if isinstance(self.blocks, Narrow):
            yield from self.blocks.read(point, after, upto)
            return
        part = self.blocks.get(point)
        if part is not None:
            wanted = part.between(after, upto)
            if len(wanted):
                yield wanted
