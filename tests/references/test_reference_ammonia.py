"""Does un-ionised ammonia agree with Emerson's equation, published tables and worked examples?"""

from __future__ import annotations

import pytest

from rules.derived.ammonia import NH3_PER_N, ammonia_fraction, ammonia_pka
from rules.derived.calc import calculate

# pKa of Emerson, Russo, Lund & Thurston 1975, evaluated.
PKA = {0: 10.0844, 5: 9.9047, 10: 9.7314, 15: 9.5641, 20: 9.4025, 25: 9.2464, 35: 8.9492}

# Fractions by the same equation; rel 0.001 tells the coefficient 2727.92 and the zero 273.2 from the right ones.
FRACTION_PH = (6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0)
FRACTIONS = {
    5: (0.000125, 0.000394, 0.001244, 0.003922, 0.012299, 0.037887, 0.110736),
    10: (0.000186, 0.000587, 0.001853, 0.005835, 0.018221, 0.055437, 0.156543),
    15: (0.000273, 0.000862, 0.002721, 0.008553, 0.026557, 0.079420, 0.214339),
    20: (0.000396, 0.001250, 0.003942, 0.012361, 0.038071, 0.111235, 0.283555),
    25: (0.000567, 0.001790, 0.005639, 0.017616, 0.053662, 0.152052, 0.361859),
    30: (0.000802, 0.002532, 0.007965, 0.024760, 0.074319, 0.202480, 0.445326),
    35: (0.001123, 0.003542, 0.011115, 0.034323, 0.101041, 0.262228, 0.529185),
}

# Univ. of Florida IFAS FA16 (Francis-Floyd, Watson, Petty, Pouder). Its 32 degC column is 2 to 4 % above its own
# formula and left out, as is the cell 20 degC, pH 7.4, misprinted 0.0096 for 0.0098.
FA16_TEMPERATURE = (6, 8, 10, 14, 16, 18, 20, 24, 26, 30)
FA16: dict[float, tuple[float | None, ...]] = {
    7.0: (0.0013, 0.0016, 0.0018, 0.0025, 0.0029, 0.0034, 0.0039, 0.0052, 0.0060, 0.0080),
    7.2: (0.0021, 0.0025, 0.0029, 0.0040, 0.0046, 0.0054, 0.0062, 0.0083, 0.0096, 0.0126),
    7.4: (0.0034, 0.0040, 0.0046, 0.0063, 0.0073, 0.0085, None, 0.0131, 0.0150, 0.0198),
    7.6: (0.0053, 0.0063, 0.0073, 0.0100, 0.0116, 0.0134, 0.0155, 0.0206, 0.0236, 0.0310),
    7.8: (0.0084, 0.0099, 0.0116, 0.0157, 0.0182, 0.0211, 0.0244, 0.0322, 0.0370, 0.0482),
    8.0: (0.0133, 0.0156, 0.0182, 0.0247, 0.0286, 0.0330, 0.0381, 0.0502, 0.0574, 0.0743),
    8.2: (0.0210, 0.0245, 0.0286, 0.0385, 0.0445, 0.0514, 0.0590, 0.0772, 0.0880, 0.1129),
    8.4: (0.0328, 0.0383, 0.0445, 0.0597, 0.0688, 0.0790, 0.0904, 0.1171, 0.1326, 0.1678),
    8.6: (0.0510, 0.0593, 0.0688, 0.0914, 0.1048, 0.1197, 0.1361, 0.1737, 0.1950, None),
}


def _fraction(temperature: float, ph: float) -> float:
    return calculate("ammonia_fraction", {"temperature": temperature, "ph": ph}).value


@pytest.mark.parametrize(("temperature", "expected"), PKA.items())
def test_pka_is_that_of_emerson(temperature: float, expected: float) -> None:
    """pKa by Emerson et al. 1975 to four decimals."""
    assert ammonia_pka(temperature) == pytest.approx(expected, abs=0.0001)


@pytest.mark.parametrize(
    ("temperature", "ph", "expected"),
    [
        (temperature, ph, expected)
        for temperature, row in FRACTIONS.items()
        for ph, expected in zip(FRACTION_PH, row, strict=True)
    ],
)
def test_fraction_is_that_of_emerson(temperature: float, ph: float, expected: float) -> None:
    """The fraction by Emerson et al. 1975 within 0.1 %, or half a unit of the last printed digit if that is more."""
    assert _fraction(temperature, ph) == pytest.approx(expected, rel=0.001, abs=0.0000005)


@pytest.mark.parametrize(
    ("ph", "temperature", "expected"),
    [
        (ph, temperature, expected)
        for ph, row in FA16.items()
        for temperature, expected in zip(FA16_TEMPERATURE, row, strict=True)
        if expected is not None
    ],
)
def test_fraction_is_that_of_the_florida_table(ph: float, temperature: float, expected: float) -> None:
    """Every sound cell of the IFAS FA16 table is met."""
    assert _fraction(temperature, ph) == pytest.approx(expected, abs=0.00015)


def test_the_florida_column_for_32_degc_is_not_followed() -> None:
    """FA16 prints 0.0877 at 32 degC, pH 8.0; its own formula gives 0.0842."""
    assert _fraction(32, 8.0) == pytest.approx(0.0842, abs=0.0001)


@pytest.mark.parametrize(
    ("total", "temperature", "ph", "as_nitrogen", "as_ammonia"),
    [(1.0, 25, 7.0, 0.005639, 0.006856), (2.0, 28, 6.5, 0.004415, 0.005368), (0.5, 30, 8.0, 0.037160, 0.045182)],
)
def test_unionised_ammonia_as_nitrogen_and_as_nh3(
    total: float, temperature: float, ph: float, as_nitrogen: float, as_ammonia: float
) -> None:
    """Worked examples by Emerson's equation on both bases; they differ by 17.0305/14.0067."""
    given = {"total_ammonia": total, "temperature": temperature, "ph": ph}
    assert calculate("unionised_ammonia", given).value == pytest.approx(as_nitrogen, rel=0.001)
    assert calculate("unionised_ammonia_nh3", given).value == pytest.approx(as_ammonia, rel=0.001)


def test_the_worked_example_of_the_florida_sheet() -> None:
    """FA16: 1.0 mg/L of total ammonia at 24 degC and pH 8.0 holds 0.0502 mg/L un-ionised."""
    given = {"total_ammonia": 1.0, "temperature": 24, "ph": 8.0}
    assert calculate("unionised_ammonia", given).value == pytest.approx(0.0502, abs=0.0002)


def test_the_worked_example_on_an_ammonium_basis() -> None:
    """Hobiger 1996: 0.2 mg/L as NH4 at 18 degC, pH 7.7 is 0.0032 mg/L as NH3; 0.2 as nitrogen would be 0.003366."""
    as_nitrogen = 0.2 * 14.0067 / 18.0385
    given = {"total_ammonia": as_nitrogen, "temperature": 18, "ph": 7.7}
    assert calculate("unionised_ammonia_nh3", given).value == pytest.approx(0.0032, abs=0.0001)
    assert calculate("unionised_ammonia_nh3", given).value == pytest.approx(0.003178, abs=0.000001)
    on_nitrogen = calculate("unionised_ammonia_nh3", {**given, "total_ammonia": 0.2}).value
    assert on_nitrogen / NH3_PER_N == pytest.approx(0.003366, abs=0.000002)


@pytest.mark.parametrize(("ph", "expected"), [(8.5, 0.00238), (8.6, 0.00294), (8.8, 0.00440), (9.0, 0.00643)])
def test_the_worked_table_in_moles(ph: float, expected: float) -> None:
    """0.03 mM of total ammonia at 15 degC: a hydrochemistry program's worked table [mM of NH3]."""
    assert 0.03 * _fraction(15, ph) == pytest.approx(expected, rel=0.004)


@pytest.mark.parametrize(("ph", "percent", "formula"), [(8.5, 11.0, 11.12), (6.0, 0.04, 0.0396)])
def test_the_percentages_of_the_guideline(ph: float, percent: float, formula: float) -> None:
    """CCREM guideline text at 20 degC: about 11 % at pH 8.5 and about 0.04 % at pH 6.0."""
    assert 100.0 * _fraction(20, ph) == pytest.approx(percent, rel=0.03)
    assert 100.0 * _fraction(20, ph) == pytest.approx(formula, rel=0.001)


@pytest.mark.parametrize(
    ("ph", "temperature", "percent"),
    [
        (8.0, 10, 1.83),
        (8.0, 15, 2.65),
        (8.0, 20, 3.83),
        (8.0, 25, 5.28),
        (7.0, 10, 0.19),
        (7.0, 15, 0.27),
        (7.0, 20, 0.40),
        (7.0, 25, 0.55),
    ],
)
def test_trussell_is_near(ph: float, temperature: float, percent: float) -> None:
    """Trussell 1972 is within 2.5 % of Emerson, its own rounding of half a hundredth aside."""
    assert percent == pytest.approx(100.0 * _fraction(temperature, ph), rel=0.025, abs=0.005)


@pytest.mark.parametrize(("ph", "percent"), [(7.0, 0.5), (8.0, 4.7)])
def test_spotte_1970_is_not_followed(ph: float, percent: float) -> None:
    """Spotte 1970 at 20 degC is 20 to 27 % above Emerson: superseded."""
    assert 1.20 < percent / (100.0 * _fraction(20, ph)) < 1.275


def test_the_tolerance_catches_the_misprinted_coefficient() -> None:
    """2727.92 for 2729.92 would give 1.5 % more at 25 degC and pH 8, far outside the tolerance of 0.1 %."""
    misprinted = 1.0 / (1.0 + 10.0 ** (0.09018 + 2727.92 / 298.15 - 8.0))
    assert misprinted / float(ammonia_fraction(25.0, 8.0)) - 1.0 == pytest.approx(0.0147, abs=0.001)
