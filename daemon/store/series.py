"""In which unit and resolution is a point's history kept, and how is it read in another?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from daemon.store.connection import Connection
from daemon.store.errors import QuantityChanged
from rules.block import Counts
from rules.door import LARGEST_COUNT, Door, door
from rules.errors import ValueRefused
from rules.plan import PointPlan
from rules.units import parse_unit


@dataclass(frozen=True, slots=True)
class Series:
    """A point's readings in one unit and resolution. `id` and `point` are the store's numbers."""

    id: int
    point: int
    name: str
    quantity: str
    unit: str
    resolution: Fraction

    def door_to(self, unit: str, resolution: Fraction) -> Door | None:
        """The exact way from this series' counts to counts of `resolution` in `unit`; None where they are the same."""
        if (unit, resolution) == (self.unit, self.resolution):
            return None
        way = door(parse_unit(self.unit), parse_unit(unit), resolution)
        scale = way.scale * self.resolution
        return None if scale == 1 and not way.offset else Door(scale, way.offset)


def through(way: Door | None, counts: Counts, missing: NDArray[np.bool_]) -> Counts:
    """int64[n] counts through `way`, each converted exactly and rounded once, half to even; missing ones stay 0.

    Raises ValueRefused where one becomes too large to be a count.
    """
    if way is None or not len(counts):
        return counts
    bottom = way.scale.denominator * way.offset.denominator
    times, plus = int(way.scale * bottom), int(way.offset * bottom)
    largest = max(abs(int(counts.min())), abs(int(counts.max())), 1)
    if max(largest * abs(times) + abs(plus), 2 * bottom) < 2**63:
        whole, left = np.divmod(counts * times + plus, bottom)
        out: Counts = whole + ((2 * left > bottom) | ((2 * left == bottom) & (whole & 1 == 1)))
    else:
        out = np.array([round(Fraction(int(c) * times + plus, bottom)) for c in counts], dtype=np.int64)
    out[missing] = 0
    if bool(np.any(np.abs(out) > LARGEST_COUNT)):
        raise ValueRefused("a stored value is too large for the point's new resolution; choose a coarser one")
    return out


_ALL = """SELECT series.id, point.id, point.name, point.quantity, series.unit, series.resolution
    FROM series JOIN point ON point.id = series.point"""


def every_series(connection: Connection) -> dict[int, Series]:
    """All series by their number."""
    return {row[0]: Series(row[0], row[1], row[2], row[3], row[4], Fraction(row[5])) for row in connection.rows(_ALL)}


def numbered(connection: Connection, plan: PointPlan) -> int | None:
    """The store's number of a point, None where it is new. Raises QuantityChanged where its history measures something
    else."""
    known = connection.row("SELECT id, quantity FROM point WHERE name = ?", (plan.id,))
    if known is None:
        return None
    number, quantity = known
    if quantity != plan.quantity:
        raise QuantityChanged(
            f"point {plan.id} has a history of {quantity} in {connection.path} and is now said to measure "
            f"{plan.quantity}; give the new probe a point id of its own"
        )
    return int(number)


def register(connection: Connection, points: Iterable[PointPlan]) -> dict[str, Series]:
    """The series that each point writes to from now on, made where it is new; within the caller's transaction.

    Raises QuantityChanged where a point's history measures something else.
    """
    found: dict[str, Series] = {}
    for plan in points:
        number = numbered(connection, plan)
        if number is None:
            connection.run("INSERT INTO point (name, quantity) VALUES (?, ?)", (plan.id, plan.quantity))
            number = int(connection.value("SELECT id FROM point WHERE name = ?", (plan.id,)))
        key = (number, plan.units.symbol, str(plan.resolution))
        connection.run("INSERT OR IGNORE INTO series (point, unit, resolution) VALUES (?, ?, ?)", key)
        series = connection.value("SELECT id FROM series WHERE point = ? AND unit = ? AND resolution = ?", key)
        found[plan.id] = Series(series, number, plan.id, plan.quantity, plan.units.symbol, plan.resolution)
    return found
