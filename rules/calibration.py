"""What does a probe's raw reading mean, by what its keeper found when it was last compared with something known?

Records say from when on they hold and when they were entered, so that a replay can judge by what was known then. The
raw counts are kept; calibrated ones are worked out exactly and rounded once, half to even.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from rules.block import Counts, Times
from rules.door import LARGEST_COUNT
from rules.errors import SettingError
from rules.units import Unit, affine, parse_unit

NERNST_AT_25 = 59.16
"""mV a pH unit of an ideal electrode at 25 degC (R T ln 10 / F)."""
_GAS, _FARADAY, _LN10 = 8.314462618, 96485.33212, 2.302585092994046
_SAFE = 2**62


@dataclass(frozen=True, slots=True)
class Record:
    """One calibration: `value = sum(coefficients[k] raw^k)`, raw and value in their units.

    effective: from when on it holds, entered: when it was written down; both ms UTC. raw_unit, unit: of raw and value,
    as symbols. method and pairs (`raw=value ...`, as they were read): how it was made. who: by whom; note: their words.
    """

    effective: int
    entered: int
    coefficients: tuple[Fraction, ...]
    raw_unit: str = ""
    unit: str = ""
    method: str = ""
    pairs: str = ""
    who: str = ""
    note: str = ""

    def between(self, raw_unit: Unit, unit: Unit) -> tuple[Fraction, ...]:
        """The coefficients for raw readings in `raw_unit` and values in `unit`. Raises UnitError."""
        inner = affine(raw_unit, parse_unit(self.raw_unit)) if self.raw_unit else (Fraction(0), Fraction(1))
        outer = affine(parse_unit(self.unit), unit) if self.unit else (Fraction(0), Fraction(1))
        found: list[Fraction] = [Fraction(0)]
        for c in reversed(self.coefficients):
            # Horner's scheme on polynomials: found = found * inner + c.
            grown = [Fraction(0)] * (len(found) + 1)
            for power, own in enumerate(found):
                grown[power] += own * inner[0]
                grown[power + 1] += own * inner[1]
            grown[0] += c
            found = grown
        while len(found) > 2 and not found[-1]:
            found.pop()
        return (found[0] * outer[1] + outer[0], *(c * outer[1] for c in found[1:]))

    def value(self, raw: Fraction) -> Fraction:
        """What a raw reading means by it, in its own units."""
        return sum((c * raw**power for power, c in enumerate(self.coefficients)), Fraction(0))


def one_point(raw: Fraction, true: Fraction) -> tuple[Fraction, ...]:
    """An offset: what the probe shows and what is true differ by the same everywhere."""
    return (true - raw, Fraction(1))


def two_points(first: tuple[Fraction, Fraction], second: tuple[Fraction, Fraction]) -> tuple[Fraction, ...]:
    """The straight line through two (raw, true) pairs; raises SettingError where they have the same raw reading."""
    (raw1, true1), (raw2, true2) = first, second
    if raw1 == raw2:
        raise SettingError("two points with the same raw reading give no line; take points that lie apart")
    slope = (true2 - true1) / (raw2 - raw1)
    return (true1 - slope * raw1, slope)


def air_saturation(raw: Fraction, saturation: Fraction) -> tuple[Fraction, ...]:
    """Oxygen: the gain by which the probe shows `saturation`, that of the day's temperature and pressure, in wet air.

    Both in the same unit; raises SettingError where the probe shows nothing.
    """
    if raw <= 0 or saturation <= 0:
        raise SettingError("the probe shows no oxygen in air; check its membrane before it is calibrated")
    return (Fraction(0), saturation / raw)


def nernst_slope(temperature: float) -> float:
    """mV a pH unit of an ideal electrode: `R T ln 10 / F`; temperature in degC."""
    return 1000 * _GAS * (temperature + 273.15) * _LN10 / _FARADAY


def electrode_efficiency(
    first: tuple[Fraction, Fraction], second: tuple[Fraction, Fraction], temperature: float
) -> float:
    """Per cent of the Nernst slope that a pH electrode reaches between two buffers (mV, pH) at a temperature in degC.

    A new one reaches 95 to 102, one under 85 is worn (common practice, no source).
    """
    (mv1, ph1), (mv2, ph2) = first, second
    if ph1 == ph2:
        raise SettingError("two buffers of the same pH give no slope; take pH 7 and pH 4 or 10")
    return 100 * abs(float((mv2 - mv1) / (ph2 - ph1))) / nernst_slope(temperature)


def known(records: Iterable[Record], as_of: int | None = None) -> list[Record]:
    """The records entered by `as_of` (ms; None: all), in order of when they hold; of equals the one entered last."""
    found = [record for record in records if as_of is None or record.entered <= as_of]
    latest = {record.effective: record for record in sorted(found, key=lambda one: one.entered)}
    return [latest[effective] for effective in sorted(latest)]


def calibrated(
    times: Times,
    raw: Counts,
    raw_resolution: Fraction,
    resolution: Fraction,
    records: Sequence[tuple[int, Sequence[Fraction]]],
    before: Sequence[Fraction] | None,
) -> tuple[Counts, NDArray[np.bool_]]:
    """(calibrated counts int64[n], whether they are known bool[n]) of raw counts int64[n], in any order.

    records: (effective, coefficients) in order; before: the coefficients that hold before the first of them, None where
    a raw reading then means nothing. Unknown ones, and values too large to be a count, are 0.
    """
    found = np.zeros(len(times), np.int64)
    good = np.zeros(len(times), np.bool_)
    place = np.searchsorted(np.array([effective for effective, _ in records], np.int64), times, side="right")
    each = [before, *(coefficients for _, coefficients in records)]
    for number in np.unique(place):
        coefficients = each[int(number)]
        if coefficients is None:
            continue
        part = place == number
        scaled = [c * raw_resolution**power / resolution for power, c in enumerate(coefficients)]
        found[part], good[part] = _rounded(raw[part], scaled)
    return found, good


def _rounded(raw: Counts, coefficients: Sequence[Fraction]) -> tuple[Counts, NDArray[np.bool_]]:
    """`round(sum(coefficients[k] raw^k))`, exactly and half to even, and which of them can be counts."""
    below = int(np.lcm.reduce([c.denominator for c in coefficients], dtype=object))
    whole = [int(c * below) for c in coefficients]
    most = max(1, int(np.abs(raw).max())) if len(raw) else 1
    small = 4 * (sum(abs(c) * most**power for power, c in enumerate(whole)) + below) < _SAFE
    column: NDArray[np.int64] | NDArray[np.object_] = raw if small else raw.astype(object)
    total = column * 0
    for c in reversed(whole):
        total = total * column + c
    down = total // below
    twice = 2 * (total - down * below)
    up = (twice > below) | ((twice == below) & (down % 2 == 1))
    counts = down + up
    good = np.asarray(np.abs(counts) <= LARGEST_COUNT, np.bool_)
    return np.where(good, counts, 0).astype(np.int64), good
