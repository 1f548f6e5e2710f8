"""How much water does a tank lose to the air?"""

from __future__ import annotations

from rules.derived.record import Argument, Derived, FloatOrArray
from rules.derived.vapour import saturation_vapour_pressure, vapour_pressure


def heat_of_vaporisation(temperature: FloatOrArray) -> FloatOrArray:
    """Heat to evaporate water [kJ/kg].

    2501 - 2.361 T; temperature T [degC], 0 to 60. Source: FAO-56, annex 3, eq. 3-1 (from memory).
    """
    return 2501.0 - 2.361 * temperature


def tank_evaporation(
    area: FloatOrArray,
    water_temperature: FloatOrArray,
    temperature: FloatOrArray,
    humidity: FloatOrArray,
    air_speed: FloatOrArray = 0.1,
) -> FloatOrArray:
    """Water that evaporates from a quiet open surface, 1 kg/L; negative where vapour condenses on it [L/d].

    86400 A (e(Tw) - e(T) RH / 100)(0.089 + 0.0782 v) / (2501 - 2.361 Tw); area A [m2], 0 to 1e5; water_temperature Tw
    [degC], 0 to 50; air temperature T [degC], -30 to 60; relative humidity RH [%], 0 to 100; air_speed v over the water
    [m/s], 0 to 5. Source: ASHRAE Handbook HVAC Applications, evaporation from pools (coefficients from memory), with
    FAO-56 eq. 11 for e. Splashing and planted beds lose more: a factor of two is no surprise.
    """
    drive = saturation_vapour_pressure(water_temperature) - vapour_pressure(temperature, humidity)
    return 86400.0 * area * drive * (0.089 + 0.0782 * air_speed) / heat_of_vaporisation(water_temperature)


DERIVED = (
    Derived(
        name="tank_evaporation",
        meaning="water that evaporates from a quiet open surface; negative where vapour condenses on it",
        function=tank_evaporation,
        arguments=(
            Argument("area", "m2", 0.0, 1e5, "area of the water's surface"),
            Argument("water_temperature", "degC", 0.0, 50.0, "water temperature"),
            Argument("temperature", "degC", -30.0, 60.0, "air temperature"),
            Argument("humidity", "%", 0.0, 100.0, "relative humidity of the air", live_high=105.0),
            Argument("air_speed", "m/s", 0.0, 5.0, "speed of the air over the water", default=0.1),
        ),
        unit="L/d",
        equation=(
            "86400 A (e(Tw) - e(T) RH/100)(0.089 + 0.0782 v)/(2501 - 2.361 Tw), 1 kg/L; "
            "e(T) = 0.6108 exp(17.27 T/(T + 237.3))"
        ),
        source="ASHRAE Handbook HVAC Applications, evaporation from pools (coefficients from memory); FAO-56 eq. 11",
        note="Splashing and planted beds lose more: a factor of two is no surprise",
    ),
)
