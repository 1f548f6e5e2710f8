"""Does calibration agree with constants, arithmetic and tables that others keep?"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
import scipy.constants  # type: ignore[import-untyped]  # the library has no type information
from numpy.polynomial import Polynomial

from rules.calibration import air_saturation, calibrated, electrode_efficiency, nernst_slope, two_points
from rules.derived.calc import calculate

F = Fraction


@pytest.mark.parametrize("temperature", [0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0])
def test_the_nernst_slope_is_made_of_the_constants_of_codata(temperature: float) -> None:
    """R T ln 10 / F with R, F and zero Celsius as scipy keeps them from CODATA."""
    faraday = scipy.constants.physical_constants["Faraday constant"][0]
    kelvin = scipy.constants.convert_temperature(temperature, "Celsius", "Kelvin")
    slope = 1000 * scipy.constants.R * kelvin * np.log(10) / faraday
    assert nernst_slope(temperature) == pytest.approx(slope, rel=1e-9)


@pytest.mark.parametrize("temperature", [5.0, 18.0, 25.0, 32.0])
@pytest.mark.parametrize("share", [1.0, 0.97, 0.85])
def test_an_electrode_of_a_known_share_of_the_nernst_slope_is_told_so(temperature: float, share: float) -> None:
    """E = E0 - share R T ln 10 / F (pH - 7): between any two buffers it is the share that comes back."""
    slope = share * nernst_slope(temperature)
    first, second = ((F(f"{-slope * (ph - 7) + 3:.6f}"), F(str(ph))) for ph in (4.01, 9.18))
    assert electrode_efficiency(first, second, temperature) == pytest.approx(100 * share, abs=1e-4)


def test_two_buffers_read_as_the_line_through_them() -> None:
    """mV of two buffers become pH as numpy's line through the two points has it, to half a count."""
    pairs = [(F("171.5"), F("4.01")), (F("-8.2"), F("7.00"))]
    line = Polynomial.fit([float(raw) for raw, _ in pairs], [float(true) for _, true in pairs], 1)
    raw = np.arange(-2000, 2001)
    record = (0, two_points(pairs[0], pairs[1]))
    found, good = calibrated(np.arange(len(raw)), raw, F(1, 10), F(1, 1000), [record], None)
    assert good.all()
    assert np.abs(found / 1000 - line(raw / 10)).max() <= 0.0005 + 1e-9


def test_a_polynomial_reads_as_numpy_has_it() -> None:
    """A level probe whose counts bend: a + b x + c x^2 + d x^3 within half a count of 0.1."""
    coefficients = (F("-3.25"), F("0.5125"), F("0.00012"), F("-0.00000001"))
    raw = np.arange(0, 4096)
    found, good = calibrated(np.arange(len(raw)), raw, F(1), F(1, 10), [(0, coefficients)], None)
    assert good.all()
    expected = Polynomial([float(c) for c in coefficients])(raw)
    assert np.abs(found / 10 - expected).max() <= 0.05 + 1e-9


@pytest.mark.parametrize(
    ("temperature", "pressure", "saturation"),
    [("20", "760 mmHg", "9.09"), ("25", "760 mmHg", "8.26"), ("10", "761 mmHg", "11.30"), ("20", "700 mmHg", "8.358")],
)
def test_a_probe_in_wet_air_is_set_to_the_saturation_of_the_day(
    temperature: str, pressure: str, saturation: str
) -> None:
    """USGS DOTABLES at 760 and 761 mmHg, the equation of memorandum 2011.03 at 700; abs 0.006."""
    value = calculate("oxygen_saturation", {"temperature": temperature, "pressure": pressure}).value
    _, gain = air_saturation(F("8.31"), F(str(value)))
    assert float(gain * F("8.31")) == pytest.approx(float(saturation), abs=0.006)
