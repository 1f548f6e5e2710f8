"""How salt is the water, judged by its conductivity?"""

from __future__ import annotations

from rules.derived.record import Argument, Derived, FloatOrArray, Instead

_PER_KELVIN = 0.0191
_MEANING = "specific conductance: conductivity at 25 degC"
_LOW, _HIGH = 0.0, 58000.0


def conductivity_at_25(conductivity: FloatOrArray, temperature: FloatOrArray) -> FloatOrArray:
    """Specific conductance: what the water would conduct at 25 degC [uS/cm].

    k25 = k / (1 + 0.0191 (t - 25)); conductivity k [uS/cm] as measured, 0 to 100000; temperature t [degC], 0 to 40.
    Source: Standard Methods for the Examination of Water and Wastewater, 2510 B (coefficient from memory).
    For probes that do not compensate; on a compensated reading it would count the temperature twice.
    """
    return conductivity / (1.0 + _PER_KELVIN * (temperature - 25.0))


def salinity_from_conductance(conductance: FloatOrArray) -> FloatOrArray:
    """Salinity from specific conductance at 25 degC [g/kg].

    S = 5.572e-4 SC + 2.02e-9 SC^2; conductance SC [uS/cm], 0 to 58000.
    Source: USGS Office of Water Quality Technical Memorandum 2011.03, eq. 4.
    """
    return 5.572e-4 * conductance + 2.02e-9 * conductance**2


CONDUCTANCE = Instead("conductance", "uS/cm", _LOW, _HIGH, _MEANING, salinity_from_conductance)
"""Stands in for a salinity: that of water with this specific conductance."""

DERIVED = (
    Derived(
        name="conductivity_at_25",
        meaning="specific conductance: the conductivity that the water would have at 25 degC",
        function=conductivity_at_25,
        arguments=(
            Argument("conductivity", "uS/cm", 0.0, 100000.0, "conductivity as measured, without compensation"),
            Argument("temperature", "degC", 0.0, 40.0, "water temperature"),
        ),
        unit="uS/cm",
        equation="k25 = k / (1 + 0.0191 (t - 25))",
        source="Standard Methods for the Examination of Water and Wastewater, 2510 B (coefficient from memory)",
        note="Only for probes that do not compensate by themselves",
        result_quantity="conductivity",
    ),
    Derived(
        name="salinity_from_conductance",
        meaning="salinity of the water from its specific conductance",
        function=salinity_from_conductance,
        arguments=(Argument("conductance", "uS/cm", _LOW, _HIGH, _MEANING),),
        unit="g/kg",
        equation="S = 5.572e-4 SC + 2.02e-9 SC^2",
        source="USGS Office of Water Quality Technical Memorandum 2011.03, eq. 4",
    ),
)
