"""How do stretches of parsed readings become one recording? Gathered by point, turned into counts at the end."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from adapters.payloads.decoded import quote
from adapters.payloads.doors import QuickDoor
from adapters.payloads.senml_units import everyday
from adapters.recordings.decimals import LONG, MISSING, to_counts
from adapters.recordings.fields import Mask
from adapters.recordings.narrow import Narrow, Piece, piece
from adapters.recordings.recording import BadLine, Recording, RecordingRefused
from rules.block import Block, Counts, Flags, Times
from rules.door import LARGEST_COUNT, Door, door
from rules.errors import UnitError, ValueRefused
from rules.flags import Flag
from rules.plan import PointPlan
from rules.units import Unit

MOST_BAD_LINES = 10_000
"""Bad lines that are kept with their reason; more are only counted."""
MANY = 1 << 20
"""Readings from which on a recording is kept in little memory."""
MOST_PLACES = 12
"""Decimal places that a resolution taken from a file may have."""


class UnitSeen(NamedTuple):
    """A unit as a file names it (empty: not at all), and how its symbols are to be understood."""

    symbol: str
    parse: Callable[[str], Unit]


class Rows(NamedTuple):
    """Readings of one point in the order of the file.

    Value = mantissa / 10^places; where places is LONG, mantissa is an index into Gathered.long, and where it is
    MISSING there is none. unit: index into Gathered.units.
    """

    times: Times
    mantissa: NDArray[np.int64]
    places: NDArray[np.int8]
    unit: NDArray[np.int32]
    lines: NDArray[np.int64]

    def take(self, rows: Mask | NDArray[np.int64]) -> Rows:
        """Some of the rows, or all in another order."""
        return Rows(self.times[rows], self.mantissa[rows], self.places[rows], self.unit[rows], self.lines[rows])


def _flags(rows: Rows) -> Flags:
    return np.where(rows.places == MISSING, np.uint8(Flag.MISSING), np.uint8(Flag.NOT_EVALUATED))


def _joined(parts: list[Rows]) -> Rows:
    return Rows(
        np.concatenate([part.times for part in parts]),
        np.concatenate([part.mantissa for part in parts]),
        np.concatenate([part.places for part in parts]),
        np.concatenate([part.unit for part in parts]),
        np.concatenate([part.lines for part in parts]),
    )


class Gathered:
    """Everything read so far. points: the plan's, or None to take every point as the files have it."""

    def __init__(self, points: Mapping[str, PointPlan] | None, strict: bool) -> None:
        self.points = points
        self.units: list[UnitSeen] = []
        self.long: list[Decimal] = []
        self.ignored: Counter[str] = Counter()
        self.twice = 0
        self._strict = strict
        self._bad: list[tuple[int, BadLine]] = []
        self._bad_count = 0
        self._files: list[str] = []
        self._parts: dict[str, list[tuple[int, Rows]]] = {}
        self._pieces: dict[str, list[Piece]] = {}
        self._readings = self._rounded = 0
        self._spans: dict[int, tuple[int, int]] = {}

    def begin(self, file: str) -> None:
        """From here on lines belong to `file`."""
        self._files.append(file)

    def wants(self, point: str) -> bool:
        """Whether the readings of `point` are to be kept."""
        return self.points is None or point in self.points

    def unit(self, symbol: str, parse: Callable[[str], Unit]) -> int:
        """The index of a unit as a file names it."""
        seen = UnitSeen(symbol, parse)
        if seen not in self.units:
            self.units.append(seen)
        return self.units.index(seen)

    def bad(self, line: int, reason: str, file: int = -1) -> None:
        """Skip a line. Raises RecordingRefused where the caller wants no bad lines."""
        place = file % len(self._files)
        if self._strict:
            raise RecordingRefused(f"{self._files[place]}:{line}: {reason}")
        self._bad_count += 1
        if len(self._bad) < MOST_BAD_LINES:
            self._bad.append((place, BadLine(self._files[place], line, reason)))

    def add(self, point: str, rows: Rows) -> None:
        """Readings of one point from the file that was begun last."""
        if not len(rows.times):
            return
        file = len(self._files) - 1
        if self.points is None:
            self._parts.setdefault(point, []).append((file, rows))
            return
        plan = self.points[point]
        counts, kept, inexact = self._counts(rows, np.full(len(rows.times), file), plan.units, plan.resolution)
        self._rounded += inexact
        pieces = self._pieces.setdefault(point, [])
        if bool(kept.any()):
            found = rows.times[kept]
            first, last = self._spans.get(file, (int(found[0]), int(found[0])))
            self._spans[file] = (min(first, int(found.min())), max(last, int(found.max())))
            pieces.append(piece(found, counts[kept], _flags(rows)[kept]))
            self._readings += len(pieces[-1].counts)

    def finish(self) -> Recording:
        """The recording; what was gathered is let go as it is turned into what the recording keeps."""
        blocks: dict[str, Block] = {}
        series: dict[str, tuple[str, Fraction]] = {}
        narrow = Narrow()
        for point in list(self._pieces):
            narrow.put(point, self._pieces.pop(point))
        if self.points is not None:
            series = {point: (self.points[point].units.symbol, self.points[point].resolution) for point in narrow}
        if self._readings < MANY:
            blocks = {point: narrow[point] for point in narrow}
        rounded = self._rounded
        for point in list(self._parts):
            parts = self._parts.pop(point)
            rows = _joined([part for _, part in parts])
            files = np.repeat([file for file, _ in parts], [len(part.times) for _, part in parts])
            unit, resolution = self._series(rows)
            counts, kept, inexact = self._counts(rows, files, unit, resolution)
            rounded += inexact
            blocks[point] = Block(point, rows.times[kept], counts[kept], _flags(rows)[kept])
            series[point] = (unit.symbol, resolution)
        self._bad.sort(key=lambda found: (found[0], found[1].line))
        bad = [line for _, line in self._bad]
        found = Recording(
            narrow if self._readings >= MANY else blocks, series, bad, self._bad_count, dict(self.ignored), rounded
        )
        if self._readings < MANY:
            found.repeats += narrow.repeats
        found.twice = self.twice
        found.spans = list(self._spans.values())
        return found

    def _series(self, rows: Rows) -> tuple[Unit, Fraction]:
        """Unit and resolution without a plan: the unit met first, and the finest decimal that counts can hold."""
        first = self.units[int(rows.unit[0])]
        try:
            unit = everyday(first.parse(first.symbol or "1"))
        except UnitError:
            # A symbol that nobody knows is as good a name as any while nothing is converted to it.
            unit = Unit(first.symbol, f"unknown {first.symbol}", Fraction(1))
        finest, largest = 0, Fraction(0)
        for place in np.unique(rows.places):
            mantissa = rows.mantissa[rows.places == place]
            if place == LONG:
                values = [self.long[index] for index in mantissa.tolist()]
                finest = max(finest, *(-int(value.as_tuple().exponent) for value in values))
                largest = max(largest, *(abs(Fraction(value)) for value in values))
            elif place != MISSING:
                finest = max(finest, int(place))
                largest = max(largest, Fraction(int(np.abs(mantissa).max()), 10 ** int(place)))
        places = min(finest, MOST_PLACES)
        while places and largest * 10**places > LARGEST_COUNT:
            places -= 1
        return unit, Fraction(1, 10**places)

    def _counts(self, rows: Rows, files: NDArray[np.int64], to: Unit, resolution: Fraction) -> tuple[Counts, Mask, int]:
        """(counts, which rows are kept, how many were rounded); the other rows become bad lines."""
        counts = np.zeros(len(rows.times), np.int64)
        kept = np.ones(len(rows.times), np.bool_)
        rounded = 0
        one_unit = bool((rows.unit == rows.unit[0]).all())
        for code in rows.unit[:1] if one_unit else np.unique(rows.unit):
            of_unit = (rows.unit == code) & (rows.places != MISSING)
            if not bool(of_unit.any()):
                continue
            try:
                through = self._door(self.units[int(code)], to, resolution)
            except (UnitError, ValueRefused) as error:
                self._drop(kept, rows, files, of_unit, str(error))
                continue
            short = of_unit & (rows.places != LONG)
            counts[short], inexact, too_large = to_counts(rows.mantissa[short], rows.places[short], through)
            rounded += int(np.count_nonzero(inexact))
            if bool(too_large.any()):
                beyond = short.copy()
                beyond[short] = too_large
                self._drop(kept, rows, files, beyond, "the value is too large for this point")
            quick = QuickDoor(through)
            for row in np.flatnonzero(of_unit & (rows.places == LONG)):
                try:
                    counts[row], unfit = quick.count(self.long[int(rows.mantissa[row])])
                    rounded += unfit
                except ValueRefused as error:
                    kept[row] = False
                    self.bad(int(rows.lines[row]), quote(str(error)), int(files[row]))
        return counts, kept, rounded

    @staticmethod
    def _door(seen: UnitSeen, to: Unit, resolution: Fraction) -> Door:
        if seen.symbol:
            try:
                return door(seen.parse(seen.symbol), to, resolution)
            except UnitError:
                if seen.symbol != to.symbol:  # else the unknown symbol that the series is called by
                    raise
        return Door(1 / resolution, Fraction(0))

    def _drop(self, kept: Mask, rows: Rows, files: NDArray[np.int64], which: Mask, reason: str) -> None:
        kept &= ~which
        for row in np.flatnonzero(which):
            self.bad(int(rows.lines[row]), reason, int(files[row]))
