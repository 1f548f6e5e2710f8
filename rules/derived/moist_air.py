"""What are the psychrometric properties of the air, from its temperature, humidity and pressure?

The ASHRAE equations (Handbook Fundamentals 2017, ch. 1: ideal gas, no enhancement factor) as PsychroLib has them.
Humidity ratio is 0.4 to 0.6 % below real-gas tables, enthalpy up to 0.4 %. Below 0 degC saturation is over ice.
PsychroLib holds the humidity ratio at or above 1e-7, which is 0.0001 g/kg.
"""

from __future__ import annotations

import functools
import importlib.util
from collections.abc import Mapping
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from rules.derived.pressure import ALTITUDE, STANDARD_PRESSURE
from rules.derived.record import Argument, Derived, FloatOrArray, Requirement
from rules.derived.vapour import saturation_vapour_pressure

_DRY = 5.6e-4
"""1/K: of dry air, the vapour pressure at the wet bulb is at least this share of the pressure a kelvin below T."""
_SOURCE = "ASHRAE Handbook Fundamentals 2017, ch. 1, by the library PsychroLib"


@functools.cache
def psychrolib() -> ModuleType:
    """A copy of PsychroLib of our own, set to SI.

    The library keeps its unit system in a global of the module. Our copy is not the one that `import psychrolib`
    gives: nobody's setting reaches us and ours reaches nobody. It is loaded at the first use.
    Raises ImportError if the library is not installed.
    """
    spec = importlib.util.find_spec("psychrolib")
    if spec is None or spec.loader is None:
        raise ImportError("psychrometric quantities need the package psychrolib: install it with pip")
    library = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(library)
    library.SetUnitSystem(library.SI)
    return library


def _each(name: str, *arguments: FloatOrArray) -> FloatOrArray:
    """PsychroLib's function `name`, which takes single numbers, for numbers or arrays."""
    function = np.frompyfunc(getattr(psychrolib(), name), len(arguments), 1)
    values: FloatOrArray = np.asarray(function(*arguments), dtype=np.float64)[()]
    return values


def _humidity_ratio(temperature: FloatOrArray, humidity: FloatOrArray, pressure: FloatOrArray) -> FloatOrArray:
    """Humidity ratio [kg/kg] for a pressure in kPa and a humidity in %."""
    return _each("GetHumRatioFromRelHum", temperature, humidity / 100.0, pressure * 1000.0)


def humidity_ratio(
    temperature: FloatOrArray, humidity: FloatOrArray, pressure: FloatOrArray = STANDARD_PRESSURE
) -> FloatOrArray:
    """Mass of vapour to a mass of dry air [g/kg].

    W = 0.621945 e / (P - e); temperature [degC], -30 to 60; relative humidity [%], 0 to 100; pressure P [kPa],
    50 to 112. Source: ASHRAE 2017, ch. 1, eq. 20.
    """
    return 1000.0 * _humidity_ratio(temperature, humidity, pressure)


def wet_bulb(
    temperature: FloatOrArray, humidity: FloatOrArray, pressure: FloatOrArray = STANDARD_PRESSURE
) -> FloatOrArray:
    """Thermodynamic wet-bulb temperature, to 0.001 K [degC].

    ASHRAE 2017, ch. 1, eq. 33 and 35 solved for it by bisection; arguments as in `humidity_ratio`.
    The lowest temperature to which a wet pad can cool the air.
    """
    return _each("GetTWetBulbFromRelHum", temperature, humidity / 100.0, pressure * 1000.0)


def enthalpy(
    temperature: FloatOrArray, humidity: FloatOrArray, pressure: FloatOrArray = STANDARD_PRESSURE
) -> FloatOrArray:
    """Heat content of moist air to a mass of dry air, zero for dry air at 0 degC [kJ/kg].

    h = 1.006 T + W (2501 + 1.86 T); arguments as in `humidity_ratio`. Source: ASHRAE 2017, ch. 1, eq. 30.
    """
    ratio = _humidity_ratio(temperature, humidity, pressure)
    return _each("GetMoistAirEnthalpy", temperature, ratio) / 1000.0


def specific_volume(
    temperature: FloatOrArray, humidity: FloatOrArray, pressure: FloatOrArray = STANDARD_PRESSURE
) -> FloatOrArray:
    """Volume of moist air to a mass of dry air [m3/kg].

    v = 0.287042 (T + 273.15)(1 + 1.607858 W) / P; arguments as in `humidity_ratio`. Source: ASHRAE 2017, ch. 1, eq. 26.
    """
    ratio = _humidity_ratio(temperature, humidity, pressure)
    return _each("GetMoistAirVolume", temperature, ratio, pressure * 1000.0)


def moist_air_density(
    temperature: FloatOrArray, humidity: FloatOrArray, pressure: FloatOrArray = STANDARD_PRESSURE
) -> FloatOrArray:
    """Mass of air and vapour in a volume [kg/m3].

    (1 + W) / v; arguments as in `humidity_ratio`. Source: ASHRAE 2017, ch. 1, eq. 11.
    """
    ratio = _humidity_ratio(temperature, humidity, pressure)
    return _each("GetMoistAirDensity", temperature, ratio, pressure * 1000.0)


def absolute_humidity(
    temperature: FloatOrArray, humidity: FloatOrArray, pressure: FloatOrArray = STANDARD_PRESSURE
) -> FloatOrArray:
    """Mass of vapour in a volume of air [g/m3].

    1000 W / v, which equals e / (461.5 (T + 273.15)) whatever the pressure; arguments as in `humidity_ratio`.
    Source: the definition in ASHRAE 2017, ch. 1.
    """
    ratio = _humidity_ratio(temperature, humidity, pressure)
    return 1000.0 * ratio / _each("GetMoistAirVolume", temperature, ratio, pressure * 1000.0)


def psychrometer_humidity(
    temperature: FloatOrArray, wet_bulb: FloatOrArray, pressure: FloatOrArray = STANDARD_PRESSURE
) -> FloatOrArray:
    """Relative humidity from dry-bulb and thermodynamic wet-bulb temperature [%].

    ASHRAE 2017, ch. 1, eq. 33 and 35; temperature and wet_bulb [degC], -30 to 60, wet_bulb <= temperature; pressure
    [kPa], 50 to 112. A wet bulb up to 1.6 K lower than dry air gives counts as dry air.
    """
    return 100.0 * _each("GetRelHumFromTWetBulb", temperature, wet_bulb, pressure * 1000.0)


def _can_be_reached(given: Mapping[str, FloatOrArray]) -> NDArray[np.bool_]:
    """Whether some vapour is left in air with such a wet bulb, by a share that errs by at most 1.6 K."""
    wet = given["wet_bulb"]
    return np.asarray(saturation_vapour_pressure(wet) >= _DRY * given["pressure"] * (given["temperature"] - wet))


_TEMPERATURE = Argument("temperature", "degC", -30.0, 60.0, "air temperature")
_PRESSURE = Argument(
    "pressure", "kPa", 50.0, 112.0, "pressure of the air at the station", default=STANDARD_PRESSURE, instead=ALTITUDE
)
_AIR = (
    _TEMPERATURE,
    Argument("humidity", "%", 0.0, 100.0, "relative humidity", live_high=105.0),
    _PRESSURE,
)
_NOTE = "Ideal gas; below 0 degC saturation is over ice"
_W = "W = 0.621945 e/(P - e), e = es(T) RH/100"

DERIVED = (
    Derived(
        name="wet_bulb",
        meaning="lowest temperature to which wetting can cool the air",
        function=wet_bulb,
        arguments=_AIR,
        unit="degC",
        equation=(
            "W = ((2501 - 2.326 Tw) Ws(Tw) - 1.006 (T - Tw))/(2501 + 1.86 T - 4.186 Tw), solved for Tw; over ice "
            "W = ((2830 - 0.24 Tw) Ws(Tw) - 1.006 (T - Tw))/(2830 + 1.86 T - 2.1 Tw)"
        ),
        source=f"{_SOURCE}, eq. 33 and 35",
        note=f"{_NOTE}; solved to 0.001 K",
        result_quantity="air_temperature",
    ),
    Derived(
        name="humidity_ratio",
        meaning="mass of vapour to a mass of dry air; the test for drying",
        function=humidity_ratio,
        arguments=_AIR,
        unit="g/kg",
        equation=_W,
        source=f"{_SOURCE}, eq. 20",
        note=_NOTE,
        result_quantity="humidity_ratio",
    ),
    Derived(
        name="absolute_humidity",
        meaning="mass of vapour in a volume of air",
        function=absolute_humidity,
        arguments=_AIR,
        unit="g/m3",
        equation=f"1000 W/v, equal to e/(461.5 (T + 273.15)) whatever the pressure; {_W}",
        source=_SOURCE,
        note=_NOTE,
        result_quantity="concentration",
    ),
    Derived(
        name="enthalpy",
        meaning="heat content of moist air to a mass of dry air; the test for total heat",
        function=enthalpy,
        arguments=_AIR,
        unit="kJ/kg",
        equation=f"h = 1.006 T + W (2501 + 1.86 T); {_W}",
        source=f"{_SOURCE}, eq. 30",
        note=f"{_NOTE}; zero for dry air at 0 degC",
    ),
    Derived(
        name="specific_volume",
        meaning="volume of moist air to a mass of dry air",
        function=specific_volume,
        arguments=_AIR,
        unit="m3/kg",
        equation=f"v = 0.287042 (T + 273.15)(1 + 1.607858 W)/P; {_W}",
        source=f"{_SOURCE}, eq. 26",
        note=_NOTE,
    ),
    Derived(
        name="moist_air_density",
        meaning="mass of air and vapour in a volume",
        function=moist_air_density,
        arguments=_AIR,
        unit="kg/m3",
        equation=f"(1 + W)/v; v = 0.287042 (T + 273.15)(1 + 1.607858 W)/P; {_W}",
        source=f"{_SOURCE}, eq. 11",
        note=_NOTE,
    ),
    Derived(
        name="psychrometer_humidity",
        meaning="relative humidity from dry-bulb and wet-bulb temperature",
        function=psychrometer_humidity,
        arguments=(_TEMPERATURE, Argument("wet_bulb", "degC", -30.0, 60.0, "wet-bulb temperature"), _PRESSURE),
        unit="%",
        equation=(
            "RH = 100 e/es(T), e from W = ((2501 - 2.326 Tw) Ws(Tw) - 1.006 (T - Tw))/(2501 + 1.86 T - 4.186 Tw); over "
            "ice W = ((2830 - 0.24 Tw) Ws(Tw) - 1.006 (T - Tw))/(2830 + 1.86 T - 2.1 Tw)"
        ),
        source=f"{_SOURCE}, eq. 33 and 35",
        note=f"{_NOTE}; a wet bulb up to 1.6 K lower than dry air gives counts as dry air",
        result_quantity="relative_humidity",
        requirements=(
            Requirement("wet_bulb at or below temperature", lambda given: given["wet_bulb"] <= given["temperature"]),
            Requirement(
                "a wet_bulb that wetting can reach: dry air itself is not that cold, so look at the thermometers",
                _can_be_reached,
            ),
        ),
    ),
)
