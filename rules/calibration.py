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
from rules.errors import SettingError

NERNST_AT_25 = 59.16
"""mV a pH unit of an ideal electrode at 25 degC (R T ln 10 / F)."""
_GAS, _FARADAY, _LN10 = 8.314462618, 96485.33212, 2.302585092994046
_SAFE = 2**62


@dataclass(frozen=True, slots=True)
class Record:
    """One calibration: `value = sum(coefficients[k] raw^k)`, raw and value in their units.

    effective: from when on it holds, entered: when it was written down; both ms UTC. note: how it was made.
    """

    effective: int
    entered: int
    coefficients: tuple[Fraction, ...]
    note: str = ""


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
    times: Times, raw: Counts, raw_resolution: Fraction, resolution: Fraction, records: Sequence[Record]
) -> Counts:
    """Calibrated counts of raw counts, int64[n] each, in order of time; records as `known` gives them.

    Before the first record a raw value counts as it stands, in the point's unit.
    """
    edges = [0, *(int(np.searchsorted(times, record.effective)) for record in records), len(times)]
    found = np.empty(len(times), np.int64)
    each = [(Fraction(0), Fraction(1)), *(record.coefficients for record in records)]
    for begin, end, coefficients in zip(edges[:-1], edges[1:], each, strict=True):
        scaled = [c * raw_resolution**power / resolution for power, c in enumerate(coefficients)]
        found[begin:end] = _rounded(raw[begin:end], scaled)
    return found


def _rounded(raw: Counts, coefficients: Sequence[Fraction]) -> Counts:
    """`round(sum(coefficients[k] raw^k))`, exactly and half to even."""
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
    return np.asarray(down + up, dtype=np.int64)
