"""Is every printed coefficient in its place, those that no table reaches included?

Tables check a formula to their printed digits; a small term can hide below that. Here the equations are written down a
second time, digit by digit from their source, with plain floats.
"""

from __future__ import annotations

import math

import pytest

from rules.derived.calc import calculate
from rules.derived.errors import OutOfRange


def _value(name: str, **given: str | float) -> float:
    return calculate(name, given).value


@pytest.mark.parametrize("temperature", [0.0, 7.0, 25.0, 40.0])
@pytest.mark.parametrize("pressure", [0.5, 0.9, 1.1])
def test_pressure_factor_of_oxygen(temperature: float, pressure: float) -> None:
    """Benson & Krause's u and theta as USGS memorandum 2011.03 prints them, pressure in atm."""
    kelvin = temperature + 273.15
    u = math.exp(11.8571 - 3840.70 / kelvin - 216961 / kelvin / kelvin)
    theta = 0.000975 - 0.00001426 * temperature + 0.00000006436 * temperature * temperature
    factor = (pressure - u) * (1 - theta * pressure) / ((1 - u) * (1 - theta))
    found = _value("oxygen_saturation", temperature=temperature, pressure=f"{pressure} atm")
    assert found / _value("oxygen_saturation", temperature=temperature) == pytest.approx(factor, rel=1e-9)


@pytest.mark.parametrize("permittivity", [3.0, 11.0, 27.0, 40.0])
def test_soil_water_content(permittivity: float) -> None:
    """Topp, Davis & Annan 1980, coefficients from memory."""
    k = permittivity
    water = -0.053 + 0.0292 * k - 0.00055 * k * k + 0.0000043 * k * k * k
    assert _value("soil_water_content", permittivity=k) == pytest.approx(100 * water, rel=1e-9)


@pytest.mark.parametrize(("angle", "level"), [(20.0, 0.1), (45.0, 0.3), (60.0, 0.06), (100.0, 0.6)])
def test_v_notch_flow(angle: float, level: float) -> None:
    """Kindsvater and Shen with the customary fitted coefficients, from memory; k comes in feet."""
    a = angle
    coefficient = 0.607165052 - 0.000874466963 * a + 0.00000610393334 * a * a
    k = 0.0144902648 - 0.00033955535 * a + 0.00000329819003 * a * a - 0.0000000106215442 * a * a * a
    head = level + 0.3048 * k
    flow = 8 / 15 * coefficient * math.sqrt(2 * 9.80665) * math.tan(math.radians(a) / 2) * head**2.5
    found = calculate("v_notch_flow", {"angle": angle, "level": level}).value
    assert found / 1000 / 60 == pytest.approx(flow, rel=1e-9)


@pytest.mark.parametrize(("mass", "temperature"), [(20.0, 24.0), (100.0, 28.0), (250.0, 32.0)])
def test_oxygen_demand_of_tilapia(mass: float, temperature: float) -> None:
    """The fitted surface of Scientific Reports 11:24130 (2021)."""
    w, t = mass, temperature
    demand = 2014.45 + 2.75 * w - 165.2 * t + 0.007 * w * w + 3.93 * t * t - 0.21 * w * t
    assert _value("fish_oxygen_demand", mass=mass, temperature=temperature) == pytest.approx(demand, rel=1e-9)


def test_ammonia_as_a_compound_and_as_nitrogen() -> None:
    """The factor is 17.0305/14.0067, which is 1.21588 (molar masses)."""
    given = {"total_ammonia": 1000, "temperature": 25, "ph": 8}
    assert _value("unionised_ammonia_nh3", **given) / _value("unionised_ammonia", **given) == pytest.approx(
        1.21588, abs=0.000005
    )


@pytest.mark.parametrize(
    ("name", "argument", "low", "high", "unit"),
    [
        ("oxygen_saturation", "temperature", 0, 40, "degC"),
        ("oxygen_saturation", "salinity", 0, 40, "g/kg"),
        ("oxygen_saturation", "pressure", 0.5, 1.1, "atm"),
        ("ammonia_fraction", "temperature", 0, 50, "degC"),
        ("ammonia_fraction", "ph", 6, 10, "pH"),
    ],
)
def test_the_range_that_a_source_states_is_kept(name: str, argument: str, low: float, high: float, unit: str) -> None:
    """USGS memorandum 2011.03 and Emerson et al. 1975: the ends are in, a ten-thousandth beyond is refused."""
    others: dict[str, str | float] = {"temperature": 20}
    if name == "ammonia_fraction":
        others["ph"] = 7
    for value, is_in in ((low, True), (high, True), (low - 1e-4, False), (high + 1e-4, False)):
        given = {**others, argument: f"{value!r} {unit}"}
        if is_in:
            assert calculate(name, given).value > 0
        else:
            with pytest.raises(OutOfRange, match=argument):
                calculate(name, given)


def test_conductivity_at_25() -> None:
    """Standard Methods 2510 B, coefficient from memory: 1.91 % a degree."""
    assert _value("conductivity_at_25", conductivity=1000, temperature=15) == pytest.approx(1000 / 0.809, rel=1e-9)


def test_psychrometer_constant() -> None:
    """FAO-56 eq. 16: 0.000662 for an Asmann type psychrometer, times the pressure in kPa."""
    found = _value("psychrometer_vapour_pressure", temperature=30, wet_bulb=20, pressure=100)
    assert _value("saturation_vapour_pressure", temperature=20) - found == pytest.approx(0.662, rel=1e-9)
