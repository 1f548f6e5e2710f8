"""What do raw readings of a plan's points mean by the calibrations that are known, and how does an act carry one?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction

import numpy as np

from rules.acts import Act
from rules.block import Block, Counts, Flags, Times
from rules.calibration import Record, calibrated, known
from rules.flags import Flag
from rules.plan import PointPlan
from rules.units import Unit, affine, parse_unit


def data_of(point: str, record: Record) -> dict[str, str]:
    """What an act of the kind `calibrate` carries; without the instant from which it holds where that is 0."""
    data = {
        "point": point,
        "coefficients": " ".join(map(str, record.coefficients)),
        "raw_unit": record.raw_unit,
        "unit": record.unit,
        "method": record.method,
        "pairs": record.pairs,
    }
    return data | ({"effective": str(record.effective)} if record.effective else {})


def record_of(act: Act) -> Record:
    """The record that an act of the kind `calibrate` enters."""
    data = act.data
    return Record(
        int(data["effective"]),
        act.time,
        tuple(Fraction(text) for text in data["coefficients"].split()),
        data.get("raw_unit", ""),
        data.get("unit", ""),
        data.get("method", ""),
        data.get("pairs", ""),
        act.who,
        act.text,
    )


def by_point(acts: Iterable[Act], as_of: int | None = None) -> dict[str, list[Record]]:
    """point -> its records as known at `as_of` (ms UTC; None: all), in order of when they hold."""
    found: dict[str, list[Record]] = {}
    for act in acts:
        found.setdefault(act.data["point"], []).append(record_of(act))
    return {point: known(records, as_of) for point, records in found.items()}


def read_through(
    times: Times,
    raw: Counts,
    flags: Flags,
    series: tuple[Unit, Fraction],
    point: tuple[Unit, Fraction],
    records: Iterable[Record],
) -> tuple[Counts, Flags]:
    """(counts, flags) at a point of raw counts of a series, each (unit, resolution); records as `known` gives them.

    Before the first record a raw reading counts as it stands where its unit fits the point's. Where it does not, or
    where the value is too large to be one, there is none (flag 9, value 0).
    """
    (raw_unit, raw_resolution), (unit, resolution) = series, point
    before = affine(raw_unit, unit) if raw_unit.dimension == unit.dimension else None
    holding = [(record.effective, record.between(raw_unit, unit)) for record in records]
    counts, good = calibrated(times, raw, raw_resolution, resolution, holding, before)
    missing = flags == Flag.MISSING
    counts[missing] = 0
    return counts, np.where(good, flags, np.uint8(Flag.MISSING))


class Calibrations:
    """What is known of the calibrations of a plan's points, for readings as they come."""

    def __init__(self, points: Iterable[PointPlan], records: Mapping[str, Iterable[Record]]) -> None:
        """records: point -> records in any order; those of points that are not in the plan are left alone."""
        self._points = {point.id: point for point in points}
        self._records = {point: known(found) for point, found in records.items()}

    def add(self, act: Act) -> None:
        """From now on one more is known."""
        point = act.data["point"]
        self._records[point] = known([*self._records.get(point, ()), record_of(act)])

    def records(self, point: str) -> list[Record]:
        """Those of a point, in order of when they hold."""
        return self._records.get(point, [])

    def judged(self, part: Block) -> Block:
        """Raw readings of a point, in counts of its raw resolution, as what they mean."""
        plan, records = self._points[part.point], self._records.get(part.point)
        raw = plan.raw
        if not records and raw is plan:
            return part
        series = (parse_unit(raw.unit), raw.resolution)
        values, flags = read_through(
            part.times, part.values, part.flags, series, (plan.units, plan.resolution), records or ()
        )
        return Block(part.point, part.times, values, flags, part.ordered)
