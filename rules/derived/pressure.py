"""What is the pressure of the air at an altitude?"""

from __future__ import annotations

from rules.derived.record import Argument, Derived, FloatOrArray, Instead

STANDARD_PRESSURE = 101.325
"""Standard pressure at sea level [kPa]."""


def pressure_at_altitude(altitude: FloatOrArray) -> FloatOrArray:
    """Station pressure of the standard atmosphere [kPa].

    P = 101.325 (1 - 2.25577e-5 z)^5.2559; altitude z [m] above sea level, -500 to 10000.
    Source: ASHRAE Handbook Fundamentals 2017, ch. 1, eq. 3 (standard atmosphere). FAO-56 eq. 7 is another formula
    and 0.37 % higher at 2000 m. Weather moves the true pressure by some 3 % either way.
    """
    return STANDARD_PRESSURE * (1.0 - 2.25577e-5 * altitude) ** 5.2559


_LOW, _HIGH = -500.0, 10000.0
_ALTITUDE_MEANING = "altitude above sea level"

ALTITUDE = Instead("altitude", "m", _LOW, _HIGH, _ALTITUDE_MEANING, pressure_at_altitude)
"""Stands in for a pressure: the standard atmosphere's at that altitude."""

DERIVED = (
    Derived(
        name="pressure_at_altitude",
        meaning="pressure of the air at an altitude in the standard atmosphere",
        function=pressure_at_altitude,
        arguments=(Argument("altitude", "m", _LOW, _HIGH, _ALTITUDE_MEANING),),
        unit="kPa",
        equation="P = 101.325 (1 - 2.25577e-5 z)^5.2559",
        source="ASHRAE Handbook Fundamentals 2017, ch. 1 eq. 3 (standard atmosphere)",
        note="Station pressure, not reduced to sea level; weather moves it by some 3 % either way",
        result_quantity="pressure",
    ),
)
