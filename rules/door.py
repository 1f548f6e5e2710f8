"""How does a value that was sent become a whole number of its point's resolution? Exactly, and rounded once."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from rules.block import Counts
from rules.errors import ValueRefused
from rules.units import Unit, convert, exact

LARGEST_COUNT = 2**53
"""Counts beyond this are refused, so that sums over windows stay far from the end of int64."""


@dataclass(frozen=True, slots=True)
class Door:
    """Conversion from a unit on the wire to counts: `counts = round_half_even(value * scale + offset)`."""

    scale: Fraction
    offset: Fraction

    def count(self, value: Decimal | Fraction | int | float | str) -> tuple[int, bool]:
        """(counts, whether something was rounded away). Raises ValueRefused for no finite number or one too large."""
        wanted = exact(value) * self.scale + self.offset
        counts = round(wanted)
        if abs(counts) > LARGEST_COUNT:
            raise ValueRefused(f"{value} is too large for this point")
        return counts, counts != wanted

    def column(self, values: NDArray[np.float64]) -> tuple[Counts, int]:
        """(counts int64[n], how many were rounded) of finite float64[n], each taken as its shortest decimal text.

        Fast in columns where floats suffice: the rare values that lie near a tie, or are large, go the exact way.
        Raises ValueRefused where one is not finite or too large.
        """
        if not bool(np.all(np.isfinite(values))):
            raise ValueRefused("a value is not a finite number")
        wanted = values * float(self.scale) + float(self.offset)
        counts = np.rint(wanted)
        left = np.abs(wanted - counts)
        # A double carries 15 digits: beyond 2^43 counts, or within a millionth of a tie, it cannot be trusted.
        unsure = (left > 0.499999) | (np.abs(wanted) > 2.0**43) | ((left > 1e-7) & (left < 1e-4))
        out = np.where(unsure, 0.0, counts).astype(np.int64)
        rounded = int(np.count_nonzero((left >= 1e-4) & ~unsure))
        for index in np.flatnonzero(unsure):
            out[index], inexact = self.count(float(values[index]))
            rounded += inexact
        return out, rounded


def door(unit: Unit, point_unit: Unit, resolution: Fraction) -> Door:
    """The door for values in `unit` at a point of `point_unit` and `resolution`; dimensions must agree."""
    if unit.dimension != point_unit.dimension:
        raise ValueRefused(f"unit {unit.symbol} does not fit a point measured in {point_unit.symbol}")
    scale = unit.scale / point_unit.scale / resolution
    return Door(scale, convert(Fraction(0), unit, point_unit) / resolution)


def as_decimal(counts: int, resolution: Fraction) -> Decimal:
    """`counts * resolution` as a decimal with just the places that the resolution has."""
    value = counts * resolution
    places = decimal_places(resolution)
    return (Decimal(value.numerator) / Decimal(value.denominator)).quantize(Decimal(1).scaleb(-places))


def as_float(counts: int, resolution: Fraction) -> float:
    """`counts * resolution` as the nearest float, which prints as the decimal that was meant."""
    return counts * resolution.numerator / resolution.denominator


def decimal_places(resolution: Fraction) -> int:
    """How many decimal places show every count of `resolution` exactly (at most 12)."""
    places = 0
    while places < 12 and (resolution * 10**places).denominator != 1:
        places += 1
    return places
