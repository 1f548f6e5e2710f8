"""Does oxygen saturation agree with the published tables and with an independent fit?"""

from __future__ import annotations

import gsw  # type: ignore[import-untyped]  # the library has no type information
import numpy as np
import pytest

from rules.derived.calc import calculate
from rules.derived.oxygen import oxygen_saturation, percent_saturation
from rules.derived.salinity import conductivity_at_25, salinity_from_conductance

# USGS DOTABLES program output, 760 mmHg, fresh water [mg/L].
# Tolerance 0.006, not 0.005: 21 and 32 degC are rounding ties (8.9150 and 7.3050 unrounded).
DOTABLES_760 = {
    0: 14.62, 1: 14.22, 2: 13.83, 4: 13.11, 5: 12.77, 6: 12.45, 8: 11.84, 9: 11.56, 10: 11.29, 11: 11.03, 13: 10.54,
    14: 10.31, 15: 10.08, 16: 9.87, 18: 9.47, 19: 9.28, 20: 9.09, 21: 8.92, 22: 8.74, 24: 8.42, 25: 8.26, 26: 8.11,
    27: 7.97, 29: 7.69, 30: 7.56, 31: 7.43, 32: 7.30, 34: 7.06, 35: 6.95, 36: 6.84, 38: 6.62, 39: 6.52, 40: 6.41,
}  # fmt: skip

# The same program at 761 mmHg.
DOTABLES_761 = {0: 14.64, 5: 12.79, 10: 11.30, 20: 9.10, 25: 8.27, 35: 6.96, 40: 6.42}

# The published equation unrounded, Benson & Krause as in USGS memorandum 2011.03.
UNROUNDED = {
    0: 14.6208,
    5: 12.7710,
    15: 10.0839,
    20: 9.0924,
    21: 8.9150,
    25: 8.2635,
    32: 7.3050,
    35: 6.9493,
    40: 6.4127,
}

# Garcia & Gordon 1992 by the library gsw 3.6.23, fresh water at 1 atm [mg/L].
GSW_FRESH = {0: 14.6214, 5: 12.7699, 10: 11.2872, 20: 9.0913, 25: 8.2622, 30: 7.5578, 40: 6.4113}


def _saturation(**given: str | float) -> float:
    return calculate("oxygen_saturation", given).value


@pytest.mark.parametrize(("temperature", "expected"), DOTABLES_760.items())
def test_fresh_water_at_760_mmhg_is_that_of_the_usgs_table(temperature: float, expected: float) -> None:
    """Every cell of the USGS table at 760 mmHg is met."""
    assert _saturation(temperature=temperature, pressure="760 mmHg") == pytest.approx(expected, abs=0.006)


@pytest.mark.parametrize(("temperature", "expected"), DOTABLES_761.items())
def test_fresh_water_at_761_mmhg_is_that_of_the_usgs_table(temperature: float, expected: float) -> None:
    """Every cell of the USGS table at 761 mmHg is met."""
    assert _saturation(temperature=temperature, pressure="761 mmHg") == pytest.approx(expected, abs=0.006)


@pytest.mark.parametrize(("temperature", "expected"), UNROUNDED.items())
def test_fresh_water_is_the_published_equation_to_four_decimals(temperature: float, expected: float) -> None:
    """The unrounded values of the equation are met at standard pressure, which is the default."""
    assert _saturation(temperature=temperature) == pytest.approx(expected, abs=0.0005)


@pytest.mark.parametrize(
    ("temperature", "salinity", "expected"),
    [
        (10, 35, 9.024), (35, 10, 6.59), (0, 30, 11.854), (5, 30, 10.451), (15, 30, 8.389), (20, 30, 7.617),
        (30, 30, 6.41), (40, 40, 5.215),
    ],
)  # fmt: skip
def test_salt_water_is_that_of_the_usgs_table(temperature: float, salinity: float, expected: float) -> None:
    """Salinity values quoted from DOTABLES and Benson & Krause 1984 are met."""
    value = _saturation(temperature=temperature, pressure="760 mmHg", salinity=salinity)
    assert value == pytest.approx(expected, abs=0.004)


@pytest.mark.parametrize(
    ("temperature", "mmhg", "expected", "naive"),
    [
        (20, 500, 5.9098, 5.9819), (20, 700, 8.3581, 8.3746), (20, 780, 9.3372, 9.3317), (25, 740, 8.0391, 8.0460),
        (5, 650, 10.9079, 10.9226), (30, 700, 6.9363, 6.9620),
    ],
)  # fmt: skip
def test_pressure_counts_by_the_full_factor_and_not_in_proportion(
    temperature: float, mmhg: float, expected: float, naive: float
) -> None:
    """The pressure factor is the equation's; C0 P/760 is told apart from it."""
    value = _saturation(temperature=temperature, pressure=f"{mmhg} mmHg")
    assert value == pytest.approx(expected, abs=0.002)
    assert value != pytest.approx(naive, abs=0.002)


@pytest.mark.parametrize(("mmhg", "factor"), [(500, 0.64997), (700, 0.91924)])
def test_pressure_factor_at_20_degc_is_that_of_the_equation(mmhg: float, factor: float) -> None:
    """Fp of the equation (evaluated from the memorandum) at 20 degC."""
    value = _saturation(temperature=20, pressure=f"{mmhg} mmHg") / _saturation(temperature=20)
    assert value == pytest.approx(factor, abs=0.00002)


@pytest.mark.parametrize(
    ("temperature", "kpa", "expected"),
    [(20, 101.325, 9.0924), (26, 95.0, 7.5901), (18, 89.875, 8.3757), (22, 84, 7.2095)],
)
def test_pressure_in_kpa_is_understood_without_a_unit(temperature: float, kpa: float, expected: float) -> None:
    """A bare pressure is in kPa (equation evaluated)."""
    assert _saturation(temperature=temperature, pressure=kpa) == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize(
    ("temperature", "salinity", "mmhg", "expected", "factor"),
    [(25, 2, 740, 7.9482, 0.98869), (20, 5, 700, 8.1152, 0.97093)],
)
def test_salt_and_pressure_combine(
    temperature: float, salinity: float, mmhg: float, expected: float, factor: float
) -> None:
    """Both factors apply together (equation evaluated)."""
    salt = _saturation(temperature=temperature, pressure=f"{mmhg} mmHg", salinity=salinity)
    assert salt == pytest.approx(expected, abs=0.002)
    assert salt / _saturation(temperature=temperature, pressure=f"{mmhg} mmHg") == pytest.approx(factor, abs=0.00002)


@pytest.mark.parametrize(
    ("temperature", "conductance", "salinity", "expected"),
    [
        (20, 1000, 0.5592, 9.0625), (25, 2000, 1.1225, 8.2109), (15, 10000, 5.7740, 9.7329), (22, 500, 0.2791, 8.7295),
    ],
)  # fmt: skip
def test_conductance_stands_in_for_salinity(
    temperature: float, conductance: float, salinity: float, expected: float
) -> None:
    """Salinity by USGS memorandum 2011.03, eq. 4, and the oxygen that goes with it."""
    found = calculate("salinity_from_conductance", {"conductance": conductance}).value
    assert found == pytest.approx(salinity, abs=0.0001)
    assert _saturation(temperature=temperature, conductance=conductance) == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize(("oxygen", "temperature", "expected"), [(8.0, 20, 87.99), (5.0, 29, 65.01), (9.5, 15, 94.21)])
def test_percent_saturation_is_the_share_of_what_the_water_holds(
    oxygen: float, temperature: float, expected: float
) -> None:
    """100 DO/DOsat at 760 mmHg (equation evaluated)."""
    found = calculate("percent_saturation", {"oxygen": oxygen, "temperature": temperature, "pressure": "760 mmHg"})
    assert found.value == pytest.approx(expected, abs=0.05)
    assert found.unit == "%"


def test_theta_takes_degrees_celsius() -> None:
    """Kelvin in theta would give 7.5915 at 25 degC and 700 mmHg; the right value is 7.5904 (equation evaluated)."""
    assert _saturation(temperature=25, pressure="700 mmHg") == pytest.approx(7.5904, abs=0.0003)


def test_benson_and_krause_is_followed_where_iso_5814_rounds_down() -> None:
    """At 21 degC ISO 5814 prints 8.91 and USGS 8.92: the equation gives 8.9150, above the middle."""
    assert _saturation(temperature=21) == pytest.approx(8.9150, abs=0.00005)
    assert round(_saturation(temperature=21), 2) == 8.92


@pytest.mark.parametrize(
    ("temperature", "iso_slope"),
    [(0, 0.0875), (5, 0.0739), (10, 0.0632), (15, 0.0545), (20, 0.0475), (25, 0.0421), (30, 0.0371)],
)
def test_salt_weighs_more_than_the_linear_correction_of_iso_5814(temperature: float, iso_slope: float) -> None:
    """ISO 5814's linear correction (mg/L per g/kg) is 8 to 15 % less slope than Benson & Krause at low salinity."""
    slope = _saturation(temperature=temperature) - _saturation(temperature=temperature, salinity=1.0)
    assert 0.84 < iso_slope / slope < 0.93


def test_the_table_of_1964_is_not_followed() -> None:
    """Montgomery, Thom & Cockburn 1964 give 6.98 at 35 degC, 0.44 % above the value used here."""
    assert 6.98 / _saturation(temperature=35) - 1.0 == pytest.approx(0.0044, abs=0.0002)


# --- the independent fit


def _gsw_mg_per_l(salinity: float, temperature: float) -> float:
    """Garcia & Gordon 1992 as gsw has it [umol/kg], by gsw's density and 31.9988 g/mol of oxygen [mg/L]."""
    micromol_per_kg = float(gsw.O2sol_SP_pt(salinity, temperature))
    absolute = gsw.SA_from_SP(salinity, 0.0, 0.0, 0.0)
    density = float(gsw.rho(absolute, gsw.CT_from_pt(absolute, temperature), 0.0))
    return micromol_per_kg * 31.9988e-6 * density


@pytest.mark.parametrize(
    ("salinity", "temperature", "expected"),
    [
        (34.7118, 28.8099, 194.6825431692940), (34.8915, 28.4392, 195.6135062814438),
        (34.8472, 10.2262, 273.5652832698713), (34.7324, 4.3236, 312.9598716631408),
    ],
)  # fmt: skip
def test_the_library_gives_the_values_of_its_documentation(
    salinity: float, temperature: float, expected: float
) -> None:
    """TEOS-10's documented values of O2sol_SP_pt [umol/kg] hold, so the library may judge."""
    assert float(gsw.O2sol_SP_pt(salinity, temperature)) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("temperature", "expected"), GSW_FRESH.items())
def test_fresh_water_agrees_with_the_independent_fit(temperature: float, expected: float) -> None:
    """Values of Garcia & Gordon 1992 in fresh water are met within 0.05 %."""
    assert _saturation(temperature=temperature) == pytest.approx(expected, rel=0.0005)
    assert _gsw_mg_per_l(0.0, temperature) == pytest.approx(expected, abs=0.0001)


@pytest.mark.parametrize("salinity", [0.0, 25.0, 30.0, 35.0, 40.0])
def test_the_independent_fit_agrees_over_a_grid(salinity: float) -> None:
    """From 0 to 40 degC in steps of 0.5 the fit of gsw is met within 0.05 %, fresh and from 25 to 40 g/kg."""
    grid = np.arange(0.0, 40.5, 0.5)
    expected = np.array([_gsw_mg_per_l(salinity, temperature) for temperature in grid])
    np.testing.assert_allclose(oxygen_saturation(grid, salinity=salinity), expected, rtol=0.0005)


@pytest.mark.parametrize("salinity", [1.0, 2.0, 5.0, 10.0, 20.0])
def test_brackish_water_is_near_the_independent_fit(salinity: float) -> None:
    """Between fresh and sea water the two fits stay within 0.3 %; how far apart they may be is not published."""
    grid = np.arange(0.0, 40.5, 0.5)
    expected = np.array([_gsw_mg_per_l(salinity, temperature) for temperature in grid])
    np.testing.assert_allclose(oxygen_saturation(grid, salinity=salinity), expected, rtol=0.003)


# --- salinity and conductivity


@pytest.mark.parametrize("conductance", [10000.0, 20000.0, 30000.0, 40000.0, 50000.0])
def test_salinity_is_near_the_practical_salinity_scale(conductance: float) -> None:
    """From 10 to 50 mS/cm the USGS polynomial is within 3 % of PSS-78 as gsw has it (sea salt; fresh water differs)."""
    expected = float(gsw.SP_from_C(conductance / 1000.0, 25.0, 0.0))
    assert salinity_from_conductance(conductance) == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize("temperature", [10.0, 15.0, 20.0, 25.0, 30.0])
def test_conductivity_at_25_undoes_the_temperature_of_a_dilute_salt(temperature: float) -> None:
    """Dilute sea water warmed from 10 to 30 degC in gsw comes back to its conductance at 25 degC within 1 %."""
    measured = 1000.0 * float(gsw.C_from_SP(2.0, temperature, 0.0))
    at_25 = 1000.0 * float(gsw.C_from_SP(2.0, 25.0, 0.0))
    assert conductivity_at_25(measured, temperature) == pytest.approx(at_25, rel=0.01)


def test_percent_saturation_of_saturated_water_is_100_at_any_pressure_and_salinity() -> None:
    """Water that holds what it can hold is at 100 %."""
    temperature, pressure, salinity = np.meshgrid([0.0, 18.0, 40.0], [51.0, 90.0, 111.0], [0.0, 3.0, 40.0])
    full = oxygen_saturation(temperature, pressure, salinity)
    np.testing.assert_allclose(percent_saturation(full, temperature, pressure, salinity), 100.0, rtol=1e-12)
