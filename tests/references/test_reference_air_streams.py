"""Do the heat and flow of air streams agree with handbook values?"""

from __future__ import annotations

import pytest

from rules.derived.calc import calculate

_BTU_PER_HOUR = 0.00029307107  # kW, international table


def _value(name: str, **given: str | float) -> float:
    return calculate(name, given).value


def test_the_engineering_example_of_a_heated_stream() -> None:
    """10000 m3/h of 1.202 kg/m3 air by 20 K takes 67 kW, as an engineering reference prints (67.112)."""
    found = _value("air_stream_heat", flow="10000 m3/h", difference=20, density=1.202, heat_capacity=1.005)
    assert found == pytest.approx(67.0, abs=0.2)
    assert found == pytest.approx(67.112, abs=0.001)


@pytest.mark.parametrize(("flow", "difference", "expected"), [(1.0, 5, 6.03), (2.0, 4, 9.648)])
def test_heat_of_an_air_stream(flow: float, difference: float, expected: float) -> None:
    """rho cp Q dT with 1.2 kg/m3 and 1.005 kJ/kg/K, which are the defaults (evaluated)."""
    assert _value("air_stream_heat", flow=flow, difference=difference) == pytest.approx(expected, rel=1e-4)
    given = _value("air_stream_heat", flow=flow, difference=difference, density=1.2, heat_capacity=1.005)
    assert given == pytest.approx(expected, rel=1e-4)


def test_the_rule_of_thumb_for_cubic_feet_and_fahrenheit() -> None:
    """1.08 x cfm x degF: one cfm by 20 degF is 21.6 Btu/h; a 1.075 variant exists, so 0.5 %."""
    found = _value("air_stream_heat", flow="1 ft3/min", difference="20 degF")
    assert found / _BTU_PER_HOUR == pytest.approx(21.6, rel=0.005)


@pytest.mark.parametrize(("flow", "difference", "expected"), [(1.0, 4, 12.005), (0.5, 6, 9.004)])
def test_latent_heat_of_an_air_stream(flow: float, difference: float, expected: float) -> None:
    """rho 2501 Q dW with 1.2 kg/m3 (evaluated; the second value printed is a rounding up of 9.0036)."""
    assert _value("latent_stream_heat", flow=flow, difference=difference) == pytest.approx(expected, rel=1e-3)


def test_the_rule_of_thumb_for_latent_heat() -> None:
    """0.68 x cfm x grains per pound, a rounded factor: within 2 %. One grain per pound is 1/7 g/kg."""
    found = _value("latent_stream_heat", flow="1 ft3/min", difference=10.0 / 7.0)
    assert found / _BTU_PER_HOUR == pytest.approx(6.8, rel=0.02)


@pytest.mark.parametrize(("changes", "flow"), [(60, 3.3333), (45, 2.5)])
def test_air_changes_of_a_house(changes: float, flow: float) -> None:
    """200 m3 at 60 an hour needs 3.3333 and at 45 an hour 2.5 m3/s (evaluated)."""
    assert _value("air_change_flow", volume=200, changes=changes) == pytest.approx(flow, abs=1e-4)
    assert _value("air_changes", volume=200, flow=flow) == pytest.approx(changes, rel=2e-5)


def test_one_house_volume_a_minute() -> None:
    """Extension rule: a house of 20 x 50 x 8 ft wants 8000 cfm, which is 3.776 m3/s."""
    assert _value("air_change_flow", volume="8000 ft3", changes="1 1/min") == pytest.approx(3.776, abs=0.001)
    assert _value("air_changes", volume="8000 ft3", flow="8000 ft3/min") == pytest.approx(60.0, rel=1e-12)


@pytest.mark.parametrize(("cfm", "expected"), [(8, 0.04064), (10, 0.05080)])
def test_flow_for_a_floor_area(cfm: float, expected: float) -> None:
    """8 and 10 cfm a square foot are 0.04064 and 0.05080 m3/s a square metre; 1 ft2 is 1 m3 over 1 m to the volume."""
    changes = _value("air_changes", volume="100 ft3", flow=f"{cfm} ft3/min")
    # A house 100 ft high over one square foot: flow over area = changes x height.
    assert changes / 3600.0 * 100 * 0.3048 == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(
    ("irradiance", "transmission", "flow", "expected"), [(900, 0.7, 4, 6.530), (800, 0.65, 2, 10.779)]
)
def test_temperature_rise_of_a_house_in_the_sun(
    irradiance: float, transmission: float, flow: float, expected: float
) -> None:
    """I tau (1 - E) A / (rho cp Q) for 100 m2, half of it evaporated (evaluated)."""
    sun = {"irradiance": irradiance, "transmission": transmission, "evaporated": 0.5, "area": 100}
    assert _value("greenhouse_temperature_rise", **sun, flow=flow) == pytest.approx(expected, abs=0.002)


def test_air_flow_that_holds_a_rise() -> None:
    """900 W/m2 on 100 m2 needs 5.224 m3/s for a rise of 5 K (evaluated)."""
    sun = {"irradiance": 900, "transmission": 0.7, "evaporated": 0.5, "area": 100}
    assert _value("air_flow_for_rise", **sun, difference=5) == pytest.approx(5.224, abs=0.002)


@pytest.mark.parametrize(
    ("volume", "difference", "time", "expected"), [(1000, 1, 1, 1.1628), (1000, 2, 6, 0.3876), (500, -3, 4, -0.4360)]
)
def test_heat_of_water(volume: float, difference: float, time: float, expected: float) -> None:
    """4.186 kJ/kg/K and 1 kg/L (evaluated)."""
    assert _value("water_heat", volume=volume, difference=difference, time=time) == pytest.approx(expected, rel=1e-3)
