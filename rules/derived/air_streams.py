"""How much heat and water does an air stream carry, and how much air does a greenhouse need?"""

from __future__ import annotations

from rules.derived.record import Argument, Derived, FloatOrArray

DENSITY = 1.2
"""Density of air at about 20 degC near sea level [kg/m3]."""

HEAT_CAPACITY = 1.005
"""Heat capacity of air at constant pressure [kJ/kg/K]."""

HEAT_OF_VAPORISATION = 2501.0
"""Heat to evaporate water at 0 degC [kJ/kg]."""


def air_stream_heat(
    flow: FloatOrArray,
    difference: FloatOrArray,
    density: FloatOrArray = DENSITY,
    heat_capacity: FloatOrArray = HEAT_CAPACITY,
) -> FloatOrArray:
    """Sensible heat that an air stream carries [kW].

    q = rho cp Q dT; flow Q [m3/s], 0 to 1000; difference dT [K], -100 to 100; density rho [kg/m3], 0.5 to 2;
    heat_capacity cp [kJ/kg/K], 0.9 to 1.2. Textbook heat balance.
    """
    return density * heat_capacity * flow * difference


def latent_stream_heat(flow: FloatOrArray, difference: FloatOrArray, density: FloatOrArray = DENSITY) -> FloatOrArray:
    """Latent heat that an air stream carries [kW].

    q = rho 2501 Q dW / 1000; flow Q [m3/s], 0 to 1000; difference of humidity ratio dW [g/kg], -200 to 200;
    density rho [kg/m3], 0.5 to 2. Textbook heat balance, heat of vaporisation at 0 degC.
    """
    return density * HEAT_OF_VAPORISATION * flow * difference / 1000.0


def air_changes(volume: FloatOrArray, flow: FloatOrArray) -> FloatOrArray:
    """How often an hour a flow renews the air of a volume [1/h].

    3600 Q / V; volume V [m3], 0.1 to 1e6; flow Q [m3/s], 0 to 1000. A definition.
    """
    return 3600.0 * flow / volume


def air_change_flow(volume: FloatOrArray, changes: FloatOrArray) -> FloatOrArray:
    """Flow that renews the air of a volume so many times an hour [m3/s].

    Q = n V / 3600; volume V [m3], 0.1 to 1e6; changes n [1/h], 0 to 600. A definition.
    """
    return changes * volume / 3600.0


def greenhouse_temperature_rise(
    irradiance: FloatOrArray,
    transmission: FloatOrArray,
    evaporated: FloatOrArray,
    area: FloatOrArray,
    flow: FloatOrArray,
    density: FloatOrArray = DENSITY,
    heat_capacity: FloatOrArray = HEAT_CAPACITY,
) -> FloatOrArray:
    """How much warmer a ventilated greenhouse in the sun is than outside [K].

    dT = I tau (1 - E) A / (1000 rho cp Q); irradiance I [W/m2], 0 to 1400; transmission tau of the cover [1], 0 to 1;
    evaporated E, share of the sun that goes into evaporation [1], 0 to 1; area A [m2], 0.1 to 1e6; flow Q [m3/s],
    0.001 to 1000; density rho [kg/m3]; heat_capacity cp [kJ/kg/K]. Steady heat balance; heat through cover and into
    ground is left out, so the truth is lower.
    """
    return irradiance * transmission * (1.0 - evaporated) * area / (1000.0 * density * heat_capacity * flow)


def air_flow_for_rise(
    irradiance: FloatOrArray,
    transmission: FloatOrArray,
    evaporated: FloatOrArray,
    area: FloatOrArray,
    difference: FloatOrArray,
    density: FloatOrArray = DENSITY,
    heat_capacity: FloatOrArray = HEAT_CAPACITY,
) -> FloatOrArray:
    """Air flow that holds a greenhouse in the sun so far above outside [m3/s].

    Q = I tau (1 - E) A / (1000 rho cp dT); difference dT [K], 0.1 to 100; the rest as in `greenhouse_temperature_rise`.
    """
    return irradiance * transmission * (1.0 - evaporated) * area / (1000.0 * density * heat_capacity * difference)


_FLOW = Argument("flow", "m3/s", 0.0, 1000.0, "flow of the air")
_SOME_FLOW = Argument("flow", "m3/s", 0.001, 1000.0, "flow of the air")
_DENSITY = Argument("density", "kg/m3", 0.5, 2.0, "density of the air", default=DENSITY)
_HEAT_CAPACITY = Argument("heat_capacity", "kJ/kg/K", 0.9, 1.2, "heat capacity of the air", default=HEAT_CAPACITY)
_VOLUME = Argument("volume", "m3", 0.1, 1e6, "volume of the air in the house")
_SUN = (
    Argument("irradiance", "W/m2", 0.0, 1400.0, "sun on a level surface outside"),
    Argument("transmission", "1", 0.0, 1.0, "share of it that the cover lets through"),
    Argument("evaporated", "1", 0.0, 1.0, "share of that which goes into evaporation"),
    Argument("area", "m2", 0.1, 1e6, "floor area"),
)
_BALANCE = "steady heat balance"
_UPPER = "Heat through the cover and into the ground is left out"

DERIVED = (
    Derived(
        name="air_stream_heat",
        meaning="sensible heat that an air stream carries",
        function=air_stream_heat,
        arguments=(
            _FLOW,
            Argument("difference", "K", -100.0, 100.0, "temperature difference across it", difference=True),
            _DENSITY,
            _HEAT_CAPACITY,
        ),
        unit="kW",
        equation="q = rho cp Q dT",
        source=_BALANCE,
        result_quantity="power",
    ),
    Derived(
        name="latent_stream_heat",
        meaning="latent heat that an air stream carries",
        function=latent_stream_heat,
        arguments=(
            _FLOW,
            Argument("difference", "g/kg", -200.0, 200.0, "difference of humidity ratio across it", difference=True),
            _DENSITY,
        ),
        unit="kW",
        equation="q = rho 2501 Q dW/1000",
        source=f"{_BALANCE}, heat of vaporisation at 0 degC",
        result_quantity="power",
    ),
    Derived(
        name="air_changes",
        meaning="how often an hour a flow renews the air of a volume",
        function=air_changes,
        arguments=(_VOLUME, _FLOW),
        unit="1/h",
        equation="n = 3600 Q/V",
        source="definition",
    ),
    Derived(
        name="air_change_flow",
        meaning="flow that renews the air of a volume so many times an hour",
        function=air_change_flow,
        arguments=(_VOLUME, Argument("changes", "1/h", 0.0, 600.0, "air changes")),
        unit="m3/s",
        equation="Q = n V/3600",
        source="definition",
        result_quantity="flow",
    ),
    Derived(
        name="greenhouse_temperature_rise",
        meaning="how much warmer a ventilated greenhouse in the sun is than outside",
        function=greenhouse_temperature_rise,
        arguments=(*_SUN, _SOME_FLOW, _DENSITY, _HEAT_CAPACITY),
        unit="K",
        result_quantity="temperature_difference",
        equation="dT = I tau (1 - E) A/(1000 rho cp Q)",
        source=_BALANCE,
        note=f"{_UPPER}, so the truth is lower",
    ),
    Derived(
        name="air_flow_for_rise",
        meaning="air flow that holds a greenhouse in the sun so far above outside",
        function=air_flow_for_rise,
        arguments=(
            *_SUN,
            Argument("difference", "K", 0.1, 100.0, "temperature rise that is allowed", difference=True),
            _DENSITY,
            _HEAT_CAPACITY,
        ),
        unit="m3/s",
        equation="Q = I tau (1 - E) A/(1000 rho cp dT)",
        source=_BALANCE,
        note=f"{_UPPER}, so less air will do",
        result_quantity="flow",
    ),
)
