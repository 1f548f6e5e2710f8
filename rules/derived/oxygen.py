"""How much oxygen can the water hold, and how much of that does it hold?"""

from __future__ import annotations

import numpy as np

from rules.derived.pressure import ALTITUDE, STANDARD_PRESSURE
from rules.derived.record import Argument, Derived, FloatOrArray
from rules.derived.salinity import CONDUCTANCE

_EQUATION = (
    "DO = C0 Fs Fp; T = t + 273.15; "
    "C0 = exp(-139.34411 + 1.575701e5/T - 6.642308e7/T^2 + 1.243800e10/T^3 - 8.621949e11/T^4); "
    "Fs = exp(-S (0.017674 - 10.754/T + 2140.7/T^2)); "
    "Fp = (P - u)(1 - theta P)/((1 - u)(1 - theta)), P in atm; u = exp(11.8571 - 3840.70/T - 216961/T^2); "
    "theta = 0.000975 - 1.426e-5 t + 6.436e-8 t^2"
)
_SOURCE = (
    "Benson & Krause 1980 (Limnol. Oceanogr. 25) and 1984 (29), as adopted by USGS Office of Water Quality "
    "Technical Memorandum 2011.03"
)
_NOTE = "Pressure is that at the station, not reduced to sea level"


def oxygen_saturation(
    temperature: FloatOrArray, pressure: FloatOrArray = STANDARD_PRESSURE, salinity: FloatOrArray = 0.0
) -> FloatOrArray:
    """Oxygen dissolved in water at equilibrium with moist air [mg/L].

    temperature t [degC], 0 to 40; pressure P [kPa] at the station, 50.6625 to 111.4575 (0.5 to 1.1 atm);
    salinity S [g/kg], 0 to 40.
    Equation and source: Benson & Krause 1980 and 1984 as in USGS memorandum 2011.03: a fresh-water value C0 times a
    factor for salt Fs and one for pressure Fp. Mind that theta takes degC while all else takes kelvin.
    """
    kelvin = temperature + 273.15
    atmospheres = pressure / 101.325
    fresh = np.exp(
        -139.34411 + 1.575701e5 / kelvin - 6.642308e7 / kelvin**2 + 1.243800e10 / kelvin**3 - 8.621949e11 / kelvin**4
    )
    salt_factor = np.exp(-salinity * (0.017674 - 10.754 / kelvin + 2140.7 / kelvin**2))
    vapour = np.exp(11.8571 - 3840.70 / kelvin - 216961.0 / kelvin**2)
    theta = 0.000975 - 1.426e-5 * temperature + 6.436e-8 * temperature**2
    pressure_factor = (atmospheres - vapour) * (1.0 - theta * atmospheres) / ((1.0 - vapour) * (1.0 - theta))
    return fresh * salt_factor * pressure_factor


def percent_saturation(
    oxygen: FloatOrArray,
    temperature: FloatOrArray,
    pressure: FloatOrArray = STANDARD_PRESSURE,
    salinity: FloatOrArray = 0.0,
) -> FloatOrArray:
    """Dissolved oxygen as a share of what the water holds at equilibrium with air [%].

    100 DO / DOsat; oxygen DO [mg/L], 0 to 60; the rest as in `oxygen_saturation`. Same source.
    """
    return 100.0 * oxygen / oxygen_saturation(temperature, pressure, salinity)


_WATER = (
    Argument("temperature", "degC", 0.0, 40.0, "water temperature"),
    Argument(
        "pressure",
        "kPa",
        50.6625,
        111.4575,
        "pressure of the air at the station",
        default=STANDARD_PRESSURE,
        instead=ALTITUDE,
    ),
    Argument("salinity", "g/kg", 0.0, 40.0, "salinity of the water", default=0.0, instead=CONDUCTANCE),
)

DERIVED = (
    Derived(
        name="oxygen_saturation",
        meaning="dissolved oxygen that water holds at equilibrium with air",
        function=oxygen_saturation,
        arguments=_WATER,
        unit="mg/L",
        equation=_EQUATION,
        source=_SOURCE,
        note=_NOTE,
        result_quantity="dissolved_oxygen",
    ),
    Derived(
        name="percent_saturation",
        meaning="dissolved oxygen as a share of what the water holds at equilibrium with air",
        function=percent_saturation,
        arguments=(Argument("oxygen", "mg/L", 0.0, 60.0, "dissolved oxygen"), *_WATER),
        unit="%",
        equation=f"100 DO / DOsat with DOsat by: {_EQUATION}",
        source=_SOURCE,
        note=_NOTE,
        result_quantity="ratio",
    ),
)
