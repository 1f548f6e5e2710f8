"""How long is there before harm?

Every runway is 0 where the limit is already reached. One that never ends (nothing moves towards the limit) has no
number: the arguments are then out of range.
"""

from __future__ import annotations

import numpy as np

from rules.derived.record import Argument, Derived, FloatOrArray


def oxygen_runway(
    volume: FloatOrArray,
    biomass: FloatOrArray,
    respiration: FloatOrArray,
    oxygen: FloatOrArray,
    limit: FloatOrArray,
) -> FloatOrArray:
    """Hours until fish have breathed the oxygen of their tank down to a limit [h].

    (DO - limit) V / (r B), not below 0; volume V [L], 1 to 1e7; biomass B [kg], 0.01 to 1e6; respiration r
    [mg/kg/h], 10 to 2000; oxygen DO and limit [mg/L], 0 to 60. Mass balance without gain from the surface (safe side)
    and without the filter's demand (not): an order of magnitude. Respiration is about 200 at rest and twice that for
    some hours after a feed (common practice, no source).
    """
    return np.maximum(oxygen - limit, 0.0) * volume / (respiration * biomass)


def oxygen_slope_runway(oxygen: FloatOrArray, fall: FloatOrArray, limit: FloatOrArray) -> FloatOrArray:
    """Hours until oxygen that falls steadily reaches a limit [h].

    (DO - limit) / fall, not below 0; oxygen DO and limit [mg/L], 0 to 60; fall [mg/L/h], 0.001 to 1000. A straight
    line; better than `oxygen_runway` once the fall was measured for some ten minutes.
    """
    return np.maximum(oxygen - limit, 0.0) / fall


def frost_runway(temperature: FloatOrArray, slope: FloatOrArray, limit: FloatOrArray = 0.0) -> FloatOrArray:
    """Hours until air that cools steadily reaches a limit [h].

    (T - limit) / -slope, not below 0; temperature T and limit [degC], -50 to 60; slope of the temperature [degC/h],
    -60 to -0.01. A straight line; after sunset the fall slows, so the truth is mostly later.
    """
    return np.maximum(temperature - limit, 0.0) / -slope


def heat_runway(temperature: FloatOrArray, slope: FloatOrArray, limit: FloatOrArray) -> FloatOrArray:
    """Hours until air that warms steadily reaches a limit [h].

    (limit - T) / slope, not below 0; temperature T and limit [degC], -50 to 80; slope of the temperature [degC/h],
    0.01 to 200. A straight line.
    """
    return np.maximum(limit - temperature, 0.0) / slope


def water_runway(volume: FloatOrArray, loss: FloatOrArray) -> FloatOrArray:
    """Hours until a volume of water is lost [h].

    V / (60 loss); volume V above the mark that must not be passed [L], 0 to 1e7; loss [L/min], 1e-5 to 1e5.
    """
    return volume / (60.0 * loss)


def _oxygen(name: str, meaning: str) -> Argument:
    return Argument(name, "mg/L", 0.0, 60.0, meaning)


_OXYGEN = (_oxygen("oxygen", "dissolved oxygen now"), _oxygen("limit", "oxygen at which fish come to harm"))
_STRAIGHT = "straight line"

DERIVED = (
    Derived(
        name="oxygen_runway",
        meaning="hours until fish have breathed the oxygen of their tank down to a limit",
        function=oxygen_runway,
        arguments=(
            Argument("volume", "L", 1.0, 1e7, "volume of the tank"),
            Argument("biomass", "kg", 0.01, 1e6, "mass of the fish"),
            Argument("respiration", "mg/kg/h", 10.0, 2000.0, "oxygen that a mass of fish uses in an hour"),
            *_OXYGEN,
        ),
        unit="h",
        equation="max(0, DO - limit) V/(r B)",
        source="mass balance",
        note=(
            "An order of magnitude: no gain from the surface, no demand of filter or sludge. Respiration about 200 at "
            "rest, twice that after a feed (common practice, no source)"
        ),
        result_quantity="hours_left",
    ),
    Derived(
        name="oxygen_slope_runway",
        meaning="hours until oxygen that falls steadily reaches a limit",
        function=oxygen_slope_runway,
        arguments=(
            _OXYGEN[0],
            Argument("fall", "mg/L/h", 0.001, 1000.0, "fall of the oxygen in an hour", difference=True),
            _OXYGEN[1],
        ),
        unit="h",
        equation="max(0, DO - limit)/fall",
        source=_STRAIGHT,
        note="Falling oxygen only: without a fall there is no time to give",
        result_quantity="hours_left",
    ),
    Derived(
        name="frost_runway",
        meaning="hours until air that cools steadily reaches a limit",
        function=frost_runway,
        arguments=(
            Argument("temperature", "degC", -50.0, 60.0, "air temperature now"),
            Argument("slope", "degC/h", -60.0, -0.01, "change of the temperature in an hour", difference=True),
            Argument("limit", "degC", -50.0, 60.0, "temperature at which plants come to harm", default=0.0),
        ),
        unit="h",
        equation="max(0, T - limit)/-slope",
        source=_STRAIGHT,
        note="Cooling air only: without a fall there is no time to give. After sunset the fall slows",
        result_quantity="hours_left",
    ),
    Derived(
        name="heat_runway",
        meaning="hours until air that warms steadily reaches a limit",
        function=heat_runway,
        arguments=(
            Argument("temperature", "degC", -50.0, 80.0, "air temperature now"),
            Argument("slope", "degC/h", 0.01, 200.0, "change of the temperature in an hour", difference=True),
            Argument("limit", "degC", -50.0, 80.0, "temperature at which plants come to harm"),
        ),
        unit="h",
        equation="max(0, limit - T)/slope",
        source=_STRAIGHT,
        note="Warming air only: without a rise there is no time to give",
        result_quantity="hours_left",
    ),
    Derived(
        name="water_runway",
        meaning="hours until a volume of water is lost",
        function=water_runway,
        arguments=(
            Argument("volume", "L", 0.0, 1e7, "volume above the mark that must not be passed"),
            Argument("loss", "L/min", 1e-5, 1e5, "flow that is lost"),
        ),
        unit="h",
        equation="V/(60 loss)",
        source="volume balance",
        note="A loss only: without one there is no time to give",
        result_quantity="hours_left",
    ),
)
