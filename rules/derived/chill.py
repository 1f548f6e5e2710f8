"""How much winter chill did an hourly temperature series bring?"""

from __future__ import annotations

import numpy as np

from rules.derived.record import Argument, Derived, FloatOrArray

_UTAH_EDGES = np.array([1.4, 2.4, 9.1, 12.4, 15.9, 18.0])
_UTAH_UNITS = np.array([0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0])


def utah_units(temperature: FloatOrArray) -> FloatOrArray:
    """Chill units that one hour at a temperature brings, of the same shape [units].

    <= 1.4: 0; to 2.4: 0.5; to 9.1: 1; to 12.4: 0.5; to 15.9: 0; to 18: -0.5; > 18 degC: -1, upper ends included.
    temperature [degC], -50 to 60; it is rounded to 1e-6 K first, so that 14 counts of 0.1 are 1.4.
    Source: Richardson, Seeley & Walker 1974 (HortScience 9:331), the Celsius table. The Fahrenheit coding of it
    differs near 1.4, 2.4, 9.1, 12.4, 15.9 and 18.1 degC. The table is in tenths; a value between two of its rows
    (2.45) falls into the upper row.
    """
    units: FloatOrArray = _UTAH_UNITS[np.searchsorted(_UTAH_EDGES, np.round(temperature, 6), side="left")]
    return units


def utah_chill(temperatures: FloatOrArray) -> float:
    """Chill units of an hourly series, summed [units].

    The sum of `utah_units` over temperatures [degC], one an hour. The original model counts from the day in autumn
    with the lowest sum; that choice is the caller's. Source: Richardson, Seeley & Walker 1974.
    """
    return float(np.sum(utah_units(temperatures)))


def chill_hours(temperatures: FloatOrArray, low: float = 0.0, high: float = 7.2) -> float:
    """Hours of an hourly series between two temperatures, both ends included [h].

    low <= T <= high; temperatures [degC], one an hour, -50 to 60, rounded to 1e-6 K first. The default 0 to 7.2 degC
    (32 to 45 degF) is the classic chill hour; sources differ on the ends, and here both count.
    """
    hourly = np.round(temperatures, 6)
    return float(np.count_nonzero((hourly >= low) & (hourly <= high)))


_TEMPERATURES = Argument("temperatures", "degC", -50.0, 60.0, "air temperatures, one an hour", is_list=True)

DERIVED = (
    Derived(
        name="utah_chill",
        meaning="chill units of an hourly temperature series",
        function=utah_chill,
        arguments=(_TEMPERATURES,),
        unit="units",
        equation="sum over hours: <= 1.4: 0; to 2.4: 0.5; to 9.1: 1; to 12.4: 0.5; to 15.9: 0; to 18: -0.5; > 18: -1",
        source="Richardson, Seeley & Walker 1974 (HortScience 9:331), Celsius table, upper ends included",
    ),
    Derived(
        name="chill_hours",
        meaning="hours of an hourly series inside a span of cold, both ends included",
        function=chill_hours,
        arguments=(
            _TEMPERATURES,
            Argument("low", "degC", -50.0, 60.0, "lowest temperature that counts", default=0.0),
            Argument("high", "degC", -50.0, 60.0, "highest temperature that counts", default=7.2),
        ),
        unit="h",
        equation="count of hours with low <= T <= high",
        source="common practice, no source; 0 to 7.2 degC with both ends counted, on which sources differ",
    ),
)
