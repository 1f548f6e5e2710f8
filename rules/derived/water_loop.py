"""How does water move through tank and beds, and what heat does it hold?"""

from __future__ import annotations

import numpy as np

from rules.derived.record import Argument, Derived, FloatOrArray, Requirement

_WATER_HEAT_CAPACITY = 4.186  # kJ/kg/K, with 1 kg/L


def turnover(volume: FloatOrArray, flow: FloatOrArray) -> FloatOrArray:
    """How often an hour a flow passes a volume of water [1/h].

    60 Q / V; volume V [L], 1 to 1e7; flow Q [L/min], 0 to 1e5. A definition.
    """
    return 60.0 * flow / volume


def flushed_fraction(volume: FloatOrArray, flow: FloatOrArray, time: FloatOrArray) -> FloatOrArray:
    """Share of the water of a well-mixed tank that has been replaced after a time [1].

    1 - exp(-Q t / V); volume V [L], 1 to 1e7; flow Q [L/min], 0 to 1e5; time t [min], 0 to 1e6. Ideal mixing.
    """
    return -np.expm1(-flow * time / volume)


def bed_fill_time(
    area: FloatOrArray, depth: FloatOrArray, porosity: FloatOrArray, inflow: FloatOrArray
) -> FloatOrArray:
    """Time in which a gravel bed fills [min].

    1000 A d phi / Qin; area A [m2], 0.01 to 1e4; depth d from trough to crest [m], 0.01 to 2; porosity phi, share of
    the bed that water can fill [1], 0.05 to 1; inflow Qin [L/min], 0.01 to 1e5. Volume balance.
    """
    return 1000.0 * area * depth * porosity / inflow


def bed_drain_time(
    area: FloatOrArray,
    depth: FloatOrArray,
    porosity: FloatOrArray,
    inflow: FloatOrArray,
    siphon_flow: FloatOrArray,
) -> FloatOrArray:
    """Time in which a bell siphon empties a bed while water keeps coming in [min].

    1000 A d phi / (Qs - Qin); inflow Qin [L/min], 0 to 1e5; siphon_flow Qs [L/min], above the inflow, else the bed
    never empties; the rest as in `bed_fill_time`. Volume balance with a steady siphon.
    """
    return 1000.0 * area * depth * porosity / (siphon_flow - inflow)


def water_heat(volume: FloatOrArray, difference: FloatOrArray, time: FloatOrArray) -> FloatOrArray:
    """Power that warms a volume of water by so much in a time; negative where it cools [kW].

    4.186 V dT / (3600 t), 1 kg/L; volume V [L], 1 to 1e7; difference dT [K], -100 to 100; time t [h], 0.01 to 1000.
    Heat balance without losses.
    """
    return _WATER_HEAT_CAPACITY * volume * difference / (3600.0 * time)


_VOLUME = Argument("volume", "L", 1.0, 1e7, "volume of the water")
_FLOW = Argument("flow", "L/min", 0.0, 1e5, "flow of the water")
_BED = (
    Argument("area", "m2", 0.01, 1e4, "area of the bed"),
    Argument("depth", "m", 0.01, 2.0, "depth from its lowest to its highest water"),
    Argument("porosity", "1", 0.05, 1.0, "share of the bed that water can fill"),
)

DERIVED = (
    Derived(
        name="turnover",
        meaning="how often an hour a flow passes a volume of water",
        function=turnover,
        arguments=(_VOLUME, _FLOW),
        unit="1/h",
        equation="60 Q/V",
        source="definition",
    ),
    Derived(
        name="flushed_fraction",
        meaning="share of the water of a well-mixed tank that has been replaced after a time",
        function=flushed_fraction,
        arguments=(_VOLUME, _FLOW, Argument("time", "min", 0.0, 1e6, "time since the flow began")),
        unit="1",
        equation="1 - exp(-Q t/V)",
        source="ideally mixed tank",
        result_quantity="ratio",
    ),
    Derived(
        name="bed_fill_time",
        meaning="time in which a gravel bed fills",
        function=bed_fill_time,
        arguments=(*_BED, Argument("inflow", "L/min", 0.01, 1e5, "flow into the bed")),
        unit="min",
        equation="1000 A d phi/Qin",
        source="volume balance",
        result_quantity="duration",
    ),
    Derived(
        name="bed_drain_time",
        meaning="time in which a bell siphon empties a bed while water keeps coming in",
        function=bed_drain_time,
        arguments=(
            *_BED,
            Argument("inflow", "L/min", 0.0, 1e5, "flow into the bed"),
            Argument("siphon_flow", "L/min", 0.01, 1e5, "flow through the siphon"),
        ),
        unit="min",
        equation="1000 A d phi/(Qs - Qin)",
        source="volume balance with a steady siphon",
        result_quantity="duration",
        requirements=(
            Requirement(
                "siphon_flow above inflow, else the bed never empties",
                lambda given: given["siphon_flow"] > given["inflow"],
            ),
        ),
    ),
    Derived(
        name="water_heat",
        meaning="power that warms a volume of water by so much in a time",
        function=water_heat,
        arguments=(
            _VOLUME,
            Argument("difference", "K", -100.0, 100.0, "change of its temperature", difference=True),
            Argument("time", "h", 0.01, 1000.0, "time in which it changes"),
        ),
        unit="kW",
        equation="4.186 V dT/(3600 t), 1 kg/L",
        source="heat balance without losses",
        result_quantity="power",
    ),
)
