"""Do psychrometric quantities agree with ASHRAE's tables, the library inside and a real-gas library?"""

from __future__ import annotations

import numpy as np
import psychrolib as public_psychrolib  # type: ignore[import-untyped]  # the library has no type information
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from rules.derived import moist_air
from rules.derived.calc import calculate
from rules.derived.moist_air import psychrolib
from rules.derived.record import FloatOrArray
from rules.derived.registry import DERIVED

# At 101 325 Pa: degC, % -> VPD kPa, dew point FAO/PsychroLib/CoolProp degC, W psy/CP g/kg, h psy/CP kJ/kg,
# wet bulb psy/CP degC, v m3/kg, absolute humidity g/m3. PsychroLib 2.5.0 (ideal gas), CoolProp 8.0.0 (real gas);
# deficit and FAO dew point from FAO-56 eq. 11.
MOIST_AIR = [
    (20, 50, 1.1691, (9.270, 9.272, 9.274), (7.2617, 7.2937), (38.552, 38.623), (13.783, 13.776), 0.8402, 8.644),
    (22, 65, 0.9254, (15.120, 15.124, 15.125), (10.7341, 10.7820), (49.417, 49.523), (17.570, 17.566), 0.8506, 12.621),
    (24, 55, 1.3428, (14.405, 14.411, 14.413), (10.2437, 10.2898), (50.221, 50.325), (17.847, 17.842), 0.8557, 11.972),
    (25, 60, 1.2671, (16.696, 16.701, 16.704), (11.8950, 11.9490), (55.453, 55.574), (19.471, 19.467), 0.8608, 13.820),
    (26, 85, 0.5042, (23.279, 23.281, 23.282), (18.0562, 18.1394), (72.188, 72.370), (24.017, 24.016), 0.8721, 20.706),
    (30, 50, 2.1215, (18.438, 18.447, 18.451), (13.3102, 13.3726), (64.212, 64.356), (22.005, 22.001), 0.8772, 15.175),
    (30, 80, 0.8486, (26.165, 26.169, 26.170), (21.5733, 21.6758), (85.339, 85.565), (27.091, 27.091), 0.8886, 24.280),
    (15, 95, 0.0853, (14.206, 14.206, 14.206), (10.1064, 10.1504), (40.648, 40.742), (14.510, 14.509), 0.8296, 12.183),
    (35, 30, 3.9359, (14.830, 14.844, 14.851), (10.5389, 10.5899), (62.254, 62.379), (21.524, 21.516), 0.8877, 11.872),
    (27, 62, 1.3548, (19.095, 19.101, 19.104), (13.8788, 13.9427), (62.570, 62.714), (21.528, 21.525), 0.8693, 15.967),
]
Pair = tuple[float, float]


def _value(name: str, **given: str | float) -> float:
    return calculate(name, given).value


@pytest.mark.parametrize(
    ("temperature", "humidity", "deficit", "dew", "ratio", "heat", "wet", "volume", "absolute"), MOIST_AIR
)
def test_moist_air_at_sea_level(
    temperature: float,
    humidity: float,
    deficit: float,
    dew: tuple[float, float, float],
    ratio: Pair,
    heat: Pair,
    wet: Pair,
    volume: float,
    absolute: float,
) -> None:
    """Every quantity meets its own model closely and the real-gas model within what an ideal gas allows."""
    air = {"temperature": temperature, "humidity": humidity}
    assert _value("vapour_pressure_deficit", **air) == pytest.approx(deficit, abs=0.001)
    assert _value("dew_point", **air) == pytest.approx(dew[0], abs=0.001)
    for expected in dew:
        assert _value("dew_point", **air) == pytest.approx(expected, abs=0.022)  # 0.02 and half a printed digit each
    assert _value("humidity_ratio", **air) == pytest.approx(ratio[0], abs=0.005)
    assert _value("humidity_ratio", **air) == pytest.approx(ratio[1], rel=0.006)
    assert _value("enthalpy", **air) == pytest.approx(heat[0], abs=0.05)
    assert _value("enthalpy", **air) == pytest.approx(heat[1], rel=0.004)
    for expected in wet:
        assert _value("wet_bulb", **air) == pytest.approx(expected, abs=0.03)
    assert _value("specific_volume", **air) == pytest.approx(volume, abs=0.0001)
    assert _value("absolute_humidity", **air) == pytest.approx(absolute, abs=0.02)


# Venting: inside t, RH; outside t, RH; h in and out psy/CP; W in and out by PsychroLib; cooler, less enthalpy, drier.
VENTING = [
    (30, 50, 24, 40, (64.21, 64.36), (43.02, 43.10), 13.310, 7.417, True, True, True),
    (30, 40, 27, 85, (57.29, 57.41), (76.11, 76.31), 10.603, 19.186, True, False, False),
    (28, 80, 33, 25, (77.04, 77.24), (53.24, 53.33), 19.144, 7.823, False, True, True),
    (26, 90, 26, 50, (74.98, 75.17), (52.91, 53.02), 19.151, 10.496, False, True, True),
    (35, 30, 34, 20, (62.25, 62.38), (51.14, 51.22), 10.539, 6.605, True, True, True),
    (27, 70, 25, 78, (67.25, 67.42), (64.77, 64.93), 15.715, 15.553, True, True, True),
    (20, 85, 5, 100, (51.71, 51.83), (18.59, 18.64), 12.447, 5.402, True, True, True),
]


@pytest.mark.parametrize(
    ("inside", "inside_rh", "outside", "outside_rh", "h_in", "h_out", "w_in", "w_out", "cooler", "less_heat", "drier"),
    VENTING,
)
def test_whether_outside_air_cools_and_dries(
    inside: float,
    inside_rh: float,
    outside: float,
    outside_rh: float,
    h_in: Pair,
    h_out: Pair,
    w_in: float,
    w_out: float,
    cooler: bool,
    less_heat: bool,
    drier: bool,
) -> None:
    """Enthalpy tells total heat and humidity ratio tells drying, also where temperature and RH say otherwise."""
    heat_in = _value("enthalpy", temperature=inside, humidity=inside_rh)
    heat_out = _value("enthalpy", temperature=outside, humidity=outside_rh)
    ratio_in = _value("humidity_ratio", temperature=inside, humidity=inside_rh)
    ratio_out = _value("humidity_ratio", temperature=outside, humidity=outside_rh)
    assert heat_in == pytest.approx(h_in[0], abs=0.06)
    assert heat_out == pytest.approx(h_out[0], abs=0.06)
    assert heat_in == pytest.approx(h_in[1], rel=0.004)
    assert heat_out == pytest.approx(h_out[1], rel=0.004)
    assert ratio_in == pytest.approx(w_in, abs=0.01)
    assert ratio_out == pytest.approx(w_out, abs=0.01)
    assert (outside < inside, heat_out < heat_in, ratio_out < ratio_in) == (cooler, less_heat, drier)


# --- ASHRAE Handbook Fundamentals 2017, ch. 1, as quoted in a library's own tests


@pytest.mark.parametrize(
    ("temperature", "pascal"), {-20: 103.24, -5: 401.74, 5: 872.6, 25: 3169.7, 100: 101418}.items()
)
def test_the_library_inside_meets_the_saturation_pressures(temperature: float, pascal: float) -> None:
    """ASHRAE's table of saturation pressures, over ice below freezing."""
    assert psychrolib().GetSatVapPres(float(temperature)) == pytest.approx(pascal, rel=3e-4)


@pytest.mark.parametrize(("temperature", "expected", "tolerance"), [(5, 5.425, 0.006), (50, 86.863, 0.0065)])
def test_humidity_ratio_of_saturated_air(temperature: float, expected: float, tolerance: float) -> None:
    """ASHRAE's table of saturated moist air [g/kg]; the ideal gas is 0.6 % low, at 50 degC 0.62 %."""
    assert _value("humidity_ratio", temperature=temperature, humidity=100) == pytest.approx(expected, rel=tolerance)


@pytest.mark.parametrize(("temperature", "expected"), {25: 76.504, 50: 275.353}.items())
def test_enthalpy_of_saturated_air(temperature: float, expected: float) -> None:
    """ASHRAE's table of saturated moist air [kJ/kg]; the ideal gas is up to 0.5 % off."""
    assert _value("enthalpy", temperature=temperature, humidity=100) == pytest.approx(expected, rel=0.005)


def test_enthalpy_of_dry_air() -> None:
    """ASHRAE: dry air at 25 degC holds 25.148 kJ/kg."""
    assert _value("enthalpy", temperature=25, humidity=0) == pytest.approx(25.148, rel=3e-4)


def test_enthalpy_at_a_known_humidity_ratio() -> None:
    """ASHRAE: at 30 degC and 20 g/kg moist air holds 81.316 kJ/kg."""
    humidity = 100.0 * psychrolib().GetRelHumFromHumRatio(30.0, 0.02, 101325.0)
    assert _value("humidity_ratio", temperature=30, humidity=humidity) == pytest.approx(20.0, rel=1e-9)
    assert _value("enthalpy", temperature=30, humidity=humidity) == pytest.approx(81.316, rel=3e-4)


def test_ashrae_example_1() -> None:
    """ASHRAE example 1: 40 degC dry and 20 degC wet bulb, chart W 6.5 g/kg, dew 7 degC, RH 14 %, h 56.7, v 0.896."""
    humidity = _value("psychrometer_humidity", temperature=40, wet_bulb=20)
    assert humidity == pytest.approx(13.98, abs=0.005)
    assert round(humidity) == 14
    air = {"temperature": 40.0, "humidity": humidity}
    assert _value("humidity_ratio", **air) == pytest.approx(6.401, abs=0.001)
    assert _value("humidity_ratio", **air) == pytest.approx(6.5, abs=0.1)
    assert _value("dew_point", **air) == pytest.approx(7.43, abs=0.02)
    assert round(_value("dew_point", **air)) == 7
    assert _value("enthalpy", **air) == pytest.approx(56.725, abs=0.001)
    assert round(_value("specific_volume", **air), 3) == 0.896
    assert _value("wet_bulb", **air) == pytest.approx(20.0, abs=0.001)


def test_ashrae_example_1_as_psychrolib_works_it_out() -> None:
    """PsychroLib 2.5.0 for the same air: W 0.006401 kg/kg, dew 7.43 degC, 13.98 %, 56.725 kJ/kg, 0.8962 m3/kg."""
    library = psychrolib()
    assert library.CalcPsychrometricsFromTWetBulb(40.0, 20.0, 101325.0)[:3] == pytest.approx(
        (0.006401, 7.43, 0.1398), abs=0.005
    )
    humidity = _value("psychrometer_humidity", temperature="104 degF", wet_bulb="68 degF", pressure="1 atm")
    assert round(humidity, 2) == 13.98
    air: dict[str, str | float] = {"temperature": "104 degF", "humidity": humidity, "pressure": "1013.25 hPa"}
    assert round(_value("humidity_ratio", **air), 3) == 6.401
    # The dew point here is by FAO-56 eq. 11, within 0.02 K of the library's.
    assert _value("dew_point", temperature=40, humidity=humidity) == pytest.approx(7.43, abs=0.02)
    assert round(_value("enthalpy", **air), 3) == 56.725
    assert round(_value("specific_volume", **air), 4) == 0.8962


# --- grids


@pytest.mark.parametrize("kilopascal", [50.0, 80.0, 101.325, 112.0])
def test_the_driest_air_has_a_wet_bulb_that_is_accepted(kilopascal: float) -> None:
    """From -30 to 60 degC the wet bulb of dry air, by PsychroLib, is believed, and one 1.7 K lower is not."""
    temperature = np.arange(-30.0, 60.1, 0.5)
    lowest = np.asarray(moist_air.wet_bulb(temperature, 0.0 * temperature, kilopascal))
    psychrometer = DERIVED["psychrometer_humidity"]
    for wet, believed in ((lowest, True), (lowest - 1.7, False)):
        inside = wet >= -30.0
        columns: dict[str, FloatOrArray] = {
            "temperature": temperature[inside],
            "wet_bulb": wet[inside],
            "pressure": kilopascal,
        }
        assert np.all(psychrometer.evaluate(columns)[1] == believed)


def test_the_library_gives_what_it_gives_in_single_calls() -> None:
    """Arrays are worked out element by element, as PsychroLib does for each: unit conversions and order are right."""
    library = psychrolib()
    temperature, humidity, pressure = np.meshgrid(
        [-20.0, -0.5, 0.5, 18.0, 45.0], [0.0, 5.0, 60.0, 100.0], [60.0, 101.325]
    )
    for name, column, call in (
        ("wet_bulb", moist_air.wet_bulb(temperature, humidity, pressure), library.GetTWetBulbFromRelHum),
        ("humidity_ratio", moist_air.humidity_ratio(temperature, humidity, pressure), library.GetHumRatioFromRelHum),
    ):
        scale = 1.0 if name == "wet_bulb" else 1000.0
        for index in np.ndindex(temperature.shape):
            single = call(float(temperature[index]), float(humidity[index]) / 100.0, float(pressure[index]) * 1000.0)
            assert np.asarray(column)[index] == scale * single


@pytest.mark.parametrize("kilopascal", [80.0, 95.0, 101.325])
def test_a_real_gas_is_near_over_a_grid(kilopascal: float) -> None:
    """From 5 to 40 degC and 20 to 95 %: W 0.6 %, h 0.4 %, volume 0.15 %, density 0.2 %, wet bulb 0.03 K of CoolProp.

    The real gas has its zero of enthalpy at 1 atm, which shifts it by 0.06 kJ/kg at 80 kPa.
    """
    for temperature in (5.0, 12.0, 20.0, 28.0, 35.0, 40.0):
        for humidity in (20.0, 50.0, 80.0, 95.0):
            state = ("T", temperature + 273.15, "R", humidity / 100.0, "P", kilopascal * 1000.0)
            air = (temperature, humidity, kilopascal)
            assert moist_air.humidity_ratio(*air) == pytest.approx(1000.0 * HAPropsSI("W", *state), rel=0.006)
            heat = HAPropsSI("H", *state) / 1000.0
            assert moist_air.enthalpy(*air) == pytest.approx(heat, abs=0.004 * heat + 0.06)
            assert moist_air.specific_volume(*air) == pytest.approx(HAPropsSI("V", *state), rel=0.0015)
            density = (1.0 + HAPropsSI("W", *state)) / HAPropsSI("V", *state)
            assert moist_air.moist_air_density(*air) == pytest.approx(density, rel=0.002)
            assert moist_air.wet_bulb(*air) == pytest.approx(HAPropsSI("B", *state) - 273.15, abs=0.03)


def test_another_users_unit_system_does_not_reach_us_nor_ours_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """With `import psychrolib` set to inches and pounds our values stay, and so does that setting."""
    before = moist_air.enthalpy(25.0, 60.0)
    monkeypatch.setattr(public_psychrolib, "PSYCHROLIB_UNITS", public_psychrolib.IP)
    moist_air.psychrolib.cache_clear()
    assert moist_air.enthalpy(25.0, 60.0) == before
    assert public_psychrolib.GetUnitSystem() == public_psychrolib.IP
    assert psychrolib() is not public_psychrolib
