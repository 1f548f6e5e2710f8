"""Does water vapour agree with FAO-56, the steam formulation and other published formulas?"""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from rules.derived.calc import calculate
from rules.derived.evaporation import heat_of_vaporisation
from rules.derived.moist_air import psychrolib
from rules.derived.pressure import pressure_at_altitude
from rules.derived.vapour import dew_point, saturation_vapour_pressure

# degC: FAO-56 eq. 11 evaluated, ASHRAE by PsychroLib 2.5.0, IAPWS by CoolProp 8.0.0, all kPa over water.
THREE_FORMULATIONS = {
    5: (0.87231, 0.87249, 0.87258),
    10: (1.22796, 1.22800, 1.22820),
    15: (1.70535, 1.70545, 1.70579),
    18: (2.06399, 2.06429, 2.06473),
    22: (2.64393, 2.64475, 2.64534),
    25: (3.16778, 3.16922, 3.16993),
    35: (5.62268, 5.62782, 5.62902),
    40: (7.37561, 7.38346, 7.38494),
}


def _value(name: str, **given: str | float) -> float:
    return calculate(name, given).value


@pytest.mark.parametrize(("temperature", "expected"), {1: 0.657, 5: 0.872, 10: 1.228, 15: 1.705, 25: 3.168}.items())
def test_saturation_is_that_of_fao_table_2_3(temperature: float, expected: float) -> None:
    """FAO-56 Table 2.3 up to 25 degC; copies of it above 30 degC are not eq. 11."""
    assert _value("saturation_vapour_pressure", temperature=temperature) == pytest.approx(expected, abs=0.0006)


@pytest.mark.parametrize(("temperature", "expected"), {35: 5.6227, 40: 7.3756, 45: 9.5825, 48: 11.1628}.items())
def test_saturation_follows_eq_11_where_the_table_does_not(temperature: float, expected: float) -> None:
    """FAO-56 eq. 11 evaluated; copies of Table 2.3 print 5.624, 7.384, 9.585 and 11.17 there."""
    assert _value("saturation_vapour_pressure", temperature=temperature) == pytest.approx(expected, abs=0.0001)


@pytest.mark.parametrize(
    ("temperature", "expected"),
    {1: 0.0474, 5: 0.0609, 15: 0.1098, 20: 0.1447, 30: 0.2434, 35: 0.3108, 45: 0.4928}.items(),
)
def test_slope_is_that_of_eq_13(temperature: float, expected: float) -> None:
    """FAO-56 eq. 13 evaluated."""
    assert _value("vapour_pressure_slope", temperature=temperature) == pytest.approx(expected, abs=0.0001)


@pytest.mark.parametrize(("temperature", "formulations"), THREE_FORMULATIONS.items())
def test_three_formulations_of_saturation_agree(temperature: float, formulations: tuple[float, float, float]) -> None:
    """Eq. 11 is our own; ASHRAE and IAPWS are within 0.03 % of each other and eq. 11 within 0.15 % of IAPWS."""
    fao, ashrae, iapws = formulations
    own = _value("saturation_vapour_pressure", temperature=temperature)
    assert own == pytest.approx(fao, abs=0.0001)
    assert psychrolib().GetSatVapPres(float(temperature)) / 1000.0 == pytest.approx(ashrae, abs=0.00001)
    assert own == pytest.approx(iapws, rel=0.0015)
    assert ashrae == pytest.approx(iapws, rel=0.0003)


def test_saturation_agrees_with_the_steam_formulation_over_a_grid() -> None:
    """From 0.1 to 40 degC eq. 11 is within 0.15 % of IAPWS as CoolProp has it."""
    grid = np.arange(0.1, 40.05, 0.1)
    steam = np.array([PropsSI("P", "T", float(t) + 273.15, "Q", 0, "Water") for t in grid]) / 1000.0
    np.testing.assert_allclose(saturation_vapour_pressure(grid), steam, rtol=0.0015)


def test_saturation_over_supercooled_water_is_near_the_magnus_formula() -> None:
    """Down to -20 degC within 1.2 %, to -30 degC within 2 % of WMO's Magnus formula (coefficients from memory)."""
    for low, tolerance in ((-20.0, 0.012), (-30.0, 0.021)):
        grid = np.arange(low, 0.0, 0.5)
        magnus = 0.6112 * np.exp(17.62 * grid / (243.12 + grid))
        np.testing.assert_allclose(saturation_vapour_pressure(grid), magnus, rtol=tolerance)


def test_fao_example_3() -> None:
    """FAO-56 example 3: 24.5 and 15 degC give 3.075 and 1.705, mean 2.39 kPa; e at the mean of 19.75 is 2.302."""
    warm = _value("saturation_vapour_pressure", temperature=24.5)
    cool = _value("saturation_vapour_pressure", temperature=15)
    assert warm == pytest.approx(3.075, abs=0.001)
    assert cool == pytest.approx(1.705, abs=0.001)
    assert (warm + cool) / 2 == pytest.approx(2.39, abs=0.005)
    assert _value("saturation_vapour_pressure", temperature=19.75) == pytest.approx(2.302, abs=0.001)
    # The daily deficit takes the mean of the two and not e at the mean temperature: dry air shows it bare.
    dry = _value("daily_vapour_pressure_deficit", maximum=24.5, minimum=15, humidity_maximum=0, humidity_minimum=0)
    assert dry == pytest.approx(2.39, abs=0.005)


def test_fao_example_4() -> None:
    """FAO-56 example 4: dry 25.6, wet 19.5 degC at 1200 m (87.9 kPa) is 1.91 kPa of vapour."""
    found = _value("psychrometer_vapour_pressure", temperature=25.6, wet_bulb=19.5, pressure=87.9)
    assert found == pytest.approx(1.91, abs=0.005)
    # The standard atmosphere is 0.2 % below FAO's eq. 7 at this altitude.
    assert _value("pressure_at_altitude", altitude=1200) == pytest.approx(87.9, abs=0.2)
    wet = _value("saturation_vapour_pressure", temperature=19.5)
    assert (wet - found) / (25.6 - 19.5) == pytest.approx(0.0582, abs=0.0002)


def test_fao_example_5() -> None:
    """FAO-56 example 5: 18 to 25 degC with 82 to 54 % gives es 2.616, ea 1.70 and a deficit of 0.914 kPa."""
    low = _value("saturation_vapour_pressure", temperature=18)
    high = _value("saturation_vapour_pressure", temperature=25)
    assert low == pytest.approx(2.064, abs=0.005)
    assert high == pytest.approx(3.168, abs=0.005)
    assert (low + high) / 2 == pytest.approx(2.616, abs=0.005)
    actual = (
        _value("vapour_pressure", temperature=18, humidity=82) + _value("vapour_pressure", temperature=25, humidity=54)
    ) / 2
    assert actual == pytest.approx(1.70, abs=0.005)
    deficit = _value("daily_vapour_pressure_deficit", maximum=25, minimum=18, humidity_maximum=82, humidity_minimum=54)
    assert deficit == pytest.approx(0.914, abs=0.005)
    # The mean-humidity method gives another vapour pressure and is not used.
    assert (low + high) / 2 * (82 + 54) / 200 == pytest.approx(1.78, abs=0.005)


@pytest.mark.parametrize(
    ("altitude", "expected"),
    [(0, 101.325), (500, 95.461), (1200, 87.716), (2000, 79.495), (-500, 107.478), (4000, 61.640)],
)
def test_pressure_is_that_of_the_standard_atmosphere(altitude: float, expected: float) -> None:
    """ASHRAE Handbook Fundamentals 2017, ch. 1 (standard atmosphere); 1200 and 2000 m by PsychroLib 2.5.0."""
    assert _value("pressure_at_altitude", altitude=altitude) == pytest.approx(expected, abs=0.002)


def test_pressure_agrees_with_psychrolib_over_a_grid() -> None:
    """From -500 to 10000 m it is the library's standard atmosphere."""
    grid = np.arange(-500.0, 10000.0, 100.0)
    expected = [psychrolib().GetStandardAtmPressure(float(altitude)) / 1000.0 for altitude in grid]
    np.testing.assert_allclose(pressure_at_altitude(grid), expected, rtol=1e-12)


@pytest.mark.parametrize(("altitude", "fao"), [(0, 101.300), (500, 95.528), (1200, 87.897), (2000, 79.788)])
def test_pressure_is_not_that_of_fao_eq_7(altitude: float, fao: float) -> None:
    """FAO-56 eq. 7 differs by up to 0.37 %; the standard atmosphere is the one used, and says so."""
    assert 101.3 * ((293 - 0.0065 * altitude) / 293) ** 5.26 == pytest.approx(fao, abs=0.005)
    assert _value("pressure_at_altitude", altitude=altitude) == pytest.approx(fao, rel=0.0038)
    assert _value("pressure_at_altitude", altitude=altitude) != pytest.approx(fao, rel=0.0002)
    assert "standard atmosphere" in calculate("pressure_at_altitude", {"altitude": altitude}).source


@pytest.mark.parametrize(("temperature", "humidity", "expected"), [(25, 60, 16.693), (20, 50, 9.255), (30, 80, 26.169)])
def test_dew_point_is_near_the_magnus_formula(temperature: float, humidity: float, expected: float) -> None:
    """pvlib 0.16.1 tdew_from_rh (Magnus, WMO coefficients) within 0.02 K."""
    assert _value("dew_point", temperature=temperature, humidity=humidity) == pytest.approx(expected, abs=0.02)


def test_dew_point_agrees_with_psychrolib_over_a_grid() -> None:
    """For dew points from 0 to 40 degC the inverse of eq. 11 is within 0.02 K of ASHRAE's equations."""
    library = psychrolib()
    for temperature in np.arange(5.0, 40.5, 2.5):
        for humidity in np.arange(10.0, 101.0, 5.0):
            expected = library.GetTDewPointFromRelHum(float(temperature), float(humidity) / 100.0)
            if expected >= 0.0:
                assert dew_point(temperature, humidity) == pytest.approx(expected, abs=0.02)


def test_heat_of_vaporisation_of_fao() -> None:
    """FAO-56 takes 2.45 MJ/kg at 20 degC, rounded; its straight line (from memory) falls 2.361 kJ/kg a degree."""
    assert heat_of_vaporisation(20.0) == pytest.approx(2450.0, abs=5.0)
    assert heat_of_vaporisation(0.0) - heat_of_vaporisation(50.0) == pytest.approx(50 * 2.361, rel=1e-9)


def test_heat_of_vaporisation_is_that_of_the_steam_formulation() -> None:
    """FAO-56's straight line is within 0.3 % of CoolProp's IAPWS from 1 to 50 degC."""
    for temperature in range(1, 51):
        kelvin = temperature + 273.15
        steam = PropsSI("H", "T", kelvin, "Q", 1, "Water") - PropsSI("H", "T", kelvin, "Q", 0, "Water")
        assert heat_of_vaporisation(float(temperature)) == pytest.approx(steam / 1000.0, rel=0.003)
