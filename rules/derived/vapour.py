"""How much water vapour is in the air, and how far is it from saturation?

Everything here rests on FAO-56 eq. 11, saturation over liquid water. Against the IAPWS steam formulation it is within
0.15 % from 0 to 40 degC; below freezing it goes on over supercooled water, as the humidity of probes and weather
services does, and there it is up to 1 % low at -20 and 2 % low at -30 degC against the WMO's Magnus formula.
"""

from __future__ import annotations

import numpy as np

from rules.derived.pressure import ALTITUDE, STANDARD_PRESSURE
from rules.derived.record import Argument, Derived, FloatOrArray, Requirement

_FAO = "Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56"
_ES = "e(T) = 0.6108 exp(17.27 T/(T + 237.3))"


def saturation_vapour_pressure(temperature: FloatOrArray) -> FloatOrArray:
    """Vapour pressure of air saturated over liquid water [kPa].

    e(T) = 0.6108 exp(17.27 T / (T + 237.3)); temperature T [degC], -30 to 60. Source: FAO-56 eq. 11.
    """
    return 0.6108 * np.exp(17.27 * temperature / (temperature + 237.3))


def vapour_pressure_slope(temperature: FloatOrArray) -> FloatOrArray:
    """Slope of the saturation vapour pressure with temperature [kPa/K].

    4098 e(T) / (T + 237.3)^2; temperature T [degC], -30 to 60. Source: FAO-56 eq. 13.
    """
    return 4098.0 * saturation_vapour_pressure(temperature) / (temperature + 237.3) ** 2


def vapour_pressure(temperature: FloatOrArray, humidity: FloatOrArray) -> FloatOrArray:
    """Vapour pressure of the air [kPa].

    e(T) RH / 100; temperature T [degC], -30 to 60; relative humidity RH [%], 0 to 100. Source: FAO-56 eq. 10.
    """
    return saturation_vapour_pressure(temperature) * humidity / 100.0


def vapour_pressure_deficit(temperature: FloatOrArray, humidity: FloatOrArray) -> FloatOrArray:
    """How far the air is from saturation [kPa].

    e(T) (1 - RH / 100); temperature T [degC], -30 to 60; relative humidity RH [%], 0 to 100. Source: FAO-56 eq. 11.
    """
    return saturation_vapour_pressure(temperature) * (1.0 - humidity / 100.0)


def leaf_vapour_pressure_deficit(
    leaf_temperature: FloatOrArray, temperature: FloatOrArray, humidity: FloatOrArray
) -> FloatOrArray:
    """Deficit between the inside of a leaf, saturated at its own temperature, and the air [kPa].

    e(Tleaf) - e(T) RH / 100; both temperatures [degC], -30 to 60; relative humidity RH [%], 0 to 100. Negative where
    dew settles on the leaf. Source: FAO-56 eq. 11 for e; the difference is common practice, no source.
    """
    return saturation_vapour_pressure(leaf_temperature) - vapour_pressure(temperature, humidity)


def daily_vapour_pressure_deficit(
    maximum: FloatOrArray,
    minimum: FloatOrArray,
    humidity_maximum: FloatOrArray,
    humidity_minimum: FloatOrArray,
) -> FloatOrArray:
    """Mean deficit of a day from its extremes [kPa].

    es - ea; es = (e(Tmax) + e(Tmin)) / 2; ea = (e(Tmin) RHmax + e(Tmax) RHmin) / 200; temperatures [degC], -30 to 60;
    humidities [%], 0 to 100. Source: FAO-56 eq. 12 and 17.
    """
    saturated = (saturation_vapour_pressure(maximum) + saturation_vapour_pressure(minimum)) / 2.0
    actual = (vapour_pressure(minimum, humidity_maximum) + vapour_pressure(maximum, humidity_minimum)) / 2.0
    return saturated - actual


def dew_point(temperature: FloatOrArray, humidity: FloatOrArray) -> FloatOrArray:
    """Temperature at which the air's vapour begins to condense [degC].

    237.3 L / (17.27 - L), L = ln(e / 0.6108), e = e(T) RH / 100: the inverse of FAO-56 eq. 11.
    temperature T [degC], -30 to 60; relative humidity RH [%], 1 to 100.
    """
    # ln e(T)/0.6108 is the exponent of eq. 11, so nothing is lost by taking exp and log of it.
    logarithm = 17.27 * temperature / (temperature + 237.3) + np.log(humidity / 100.0)
    return 237.3 * logarithm / (17.27 - logarithm)


def dew_point_depression(temperature: FloatOrArray, humidity: FloatOrArray) -> FloatOrArray:
    """How far the air is above its dew point [K].

    T - Tdew; arguments and ranges as in `dew_point`. Leaves that cool by more than this get wet.
    """
    return temperature - dew_point(temperature, humidity)


def psychrometer_vapour_pressure(
    temperature: FloatOrArray, wet_bulb: FloatOrArray, pressure: FloatOrArray = STANDARD_PRESSURE
) -> FloatOrArray:
    """Vapour pressure of the air from a ventilated dry and wet thermometer [kPa].

    e(Twet) - 0.000662 P (T - Twet); temperature T and wet_bulb Twet [degC], 0 to 60, Twet <= T; pressure P [kPa],
    50 to 112. Source: FAO-56 eq. 15 and 16 (Asmann type, some 5 m/s past the bulbs).
    """
    return saturation_vapour_pressure(wet_bulb) - 0.000662 * pressure * (temperature - wet_bulb)


_TEMPERATURE = Argument("temperature", "degC", -30.0, 60.0, "air temperature")
_HUMIDITY = Argument("humidity", "%", 0.0, 100.0, "relative humidity", live_high=105.0)
_SOME_HUMIDITY = Argument("humidity", "%", 1.0, 100.0, "relative humidity", live_high=105.0)
_NOTE = "Over liquid water, below freezing too; within 0.15 % of IAPWS from 0 to 40 degC"
_DEW = f"Tdew = 237.3 L/(17.27 - L); L = ln(e(T) RH/100/0.6108); {_ES}"

DERIVED = (
    Derived(
        name="saturation_vapour_pressure",
        meaning="vapour pressure of saturated air",
        function=saturation_vapour_pressure,
        arguments=(_TEMPERATURE,),
        unit="kPa",
        equation=_ES,
        source=f"{_FAO}, eq. 11",
        note=_NOTE,
        result_quantity="pressure",
    ),
    Derived(
        name="vapour_pressure_slope",
        meaning="slope of the saturation vapour pressure with temperature",
        function=vapour_pressure_slope,
        arguments=(_TEMPERATURE,),
        unit="kPa/K",
        equation=f"4098 e(T)/(T + 237.3)^2; {_ES}",
        source=f"{_FAO}, eq. 13",
        note=_NOTE,
    ),
    Derived(
        name="vapour_pressure",
        meaning="vapour pressure of the air",
        function=vapour_pressure,
        arguments=(_TEMPERATURE, _HUMIDITY),
        unit="kPa",
        equation=f"e(T) RH/100; {_ES}",
        source=f"{_FAO}, eq. 10 and 11",
        note=_NOTE,
        result_quantity="pressure",
    ),
    Derived(
        name="vapour_pressure_deficit",
        meaning="how far the air is from saturation",
        function=vapour_pressure_deficit,
        arguments=(_TEMPERATURE, _HUMIDITY),
        unit="kPa",
        equation=f"VPD = e(T) (1 - RH/100); {_ES}",
        source=f"{_FAO}, eq. 11",
        note=_NOTE,
        result_quantity="pressure",
    ),
    Derived(
        name="leaf_vapour_pressure_deficit",
        meaning="deficit between a leaf and the air around it; negative where dew settles",
        function=leaf_vapour_pressure_deficit,
        arguments=(
            Argument("leaf_temperature", "degC", -30.0, 60.0, "temperature of the leaf"),
            _TEMPERATURE,
            _HUMIDITY,
        ),
        unit="kPa",
        equation=f"e(Tleaf) - e(T) RH/100; {_ES}",
        source=f"{_FAO}, eq. 11; the difference is common practice, no source",
        note=_NOTE,
        result_quantity="pressure",
    ),
    Derived(
        name="daily_vapour_pressure_deficit",
        meaning="mean deficit of a day from its extremes",
        function=daily_vapour_pressure_deficit,
        arguments=(
            Argument("maximum", "degC", -30.0, 60.0, "highest air temperature of the day"),
            Argument("minimum", "degC", -30.0, 60.0, "lowest air temperature of the day"),
            Argument("humidity_maximum", "%", 0.0, 100.0, "highest relative humidity of the day"),
            Argument("humidity_minimum", "%", 0.0, 100.0, "lowest relative humidity of the day"),
        ),
        unit="kPa",
        equation=f"(e(Tmax) + e(Tmin))/2 - (e(Tmin) RHmax + e(Tmax) RHmin)/200; {_ES}",
        source=f"{_FAO}, eq. 11, 12 and 17",
        note=_NOTE,
        result_quantity="pressure",
        requirements=(
            Requirement("maximum at or above minimum", lambda given: given["maximum"] >= given["minimum"]),
            Requirement(
                "humidity_maximum at or above humidity_minimum",
                lambda given: given["humidity_maximum"] >= given["humidity_minimum"],
            ),
        ),
    ),
    Derived(
        name="dew_point",
        meaning="temperature at which the air's vapour begins to condense",
        function=dew_point,
        arguments=(_TEMPERATURE, _SOME_HUMIDITY),
        unit="degC",
        equation=_DEW,
        source=f"{_FAO}, eq. 11 solved for T",
        note=_NOTE,
        result_quantity="air_temperature",
    ),
    Derived(
        name="dew_point_depression",
        meaning="how far the air is above its dew point",
        function=dew_point_depression,
        arguments=(_TEMPERATURE, _SOME_HUMIDITY),
        unit="K",
        result_quantity="temperature_difference",
        equation=f"T - Tdew; {_DEW}",
        source=f"{_FAO}, eq. 11 solved for T",
        note=_NOTE,
    ),
    Derived(
        name="psychrometer_vapour_pressure",
        meaning="vapour pressure of the air from a ventilated dry and wet thermometer",
        function=psychrometer_vapour_pressure,
        arguments=(
            Argument("temperature", "degC", 0.0, 60.0, "dry-bulb temperature"),
            Argument("wet_bulb", "degC", 0.0, 60.0, "wet-bulb temperature"),
            Argument(
                "pressure",
                "kPa",
                50.0,
                112.0,
                "pressure of the air at the station",
                default=STANDARD_PRESSURE,
                instead=ALTITUDE,
            ),
        ),
        unit="kPa",
        equation=f"e(Twet) - 0.000662 P (T - Twet); {_ES}",
        source=f"{_FAO}, eq. 15 and 16",
        note="For an Asmann type psychrometer, some 5 m/s past the bulbs",
        result_quantity="pressure",
        requirements=(
            Requirement("wet_bulb at or below temperature", lambda given: given["wet_bulb"] <= given["temperature"]),
            Requirement(
                "a wet_bulb that wetting can reach: dry air itself is not that cold, so look at the thermometers",
                lambda given: psychrometer_vapour_pressure(**given) >= 0.0,
            ),
        ),
    ),
)
