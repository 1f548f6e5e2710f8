"""Do the facts of the water loop agree with handbook and worked values?"""

from __future__ import annotations

import numpy as np
import pytest

from rules.derived.calc import calculate
from rules.derived.weir import v_notch_flow


def _value(name: str, **given: str | float) -> float:
    return calculate(name, given).value


@pytest.mark.parametrize(
    ("volume", "biomass", "respiration", "oxygen", "limit", "expected"),
    [(1000, 20, 250, 7, 3, 0.8), (1000, 20, 400, 6, 3, 0.375)],
)
def test_time_to_critical_oxygen(
    volume: float, biomass: float, respiration: float, oxygen: float, limit: float, expected: float
) -> None:
    """(DO - limit) V / (r B), respiration 200 to 400 mg/kg/h from memory (evaluated)."""
    found = calculate(
        "oxygen_runway",
        {"volume": volume, "biomass": biomass, "respiration": respiration, "oxygen": oxygen, "limit": limit},
    )
    assert found.value == pytest.approx(expected, abs=1e-3)
    assert found.unit == "h"


@pytest.mark.parametrize(("density", "hours"), [(5, 4.0), (10, 2.0), (20, 1.0), (40, 0.5)])
def test_runway_by_stocking_density(density: float, hours: float) -> None:
    """From 7 to 3 mg/L at 200 mg/kg/h: 4 h at 5 kg/m3, 2 h at 10, 1 h at 20, half an hour at 40 (evaluated)."""
    tank: dict[str, str | float] = {"volume": "1 m3", "biomass": density, "respiration": 200, "oxygen": 7, "limit": 3}
    assert calculate("oxygen_runway", tank).value == pytest.approx(hours, rel=1e-12)
    assert _value("stocking_density", biomass=density, volume="1 m3") == density


@pytest.mark.parametrize(("mass", "temperature", "expected"), [(100, 28, 227), (200, 30, 165)])
def test_oxygen_demand_of_tilapia(mass: float, temperature: float, expected: float) -> None:
    """Equation of Scientific Reports 11:24130 (2021), evaluated to whole mg/kg/h."""
    assert _value("fish_oxygen_demand", mass=mass, temperature=temperature) == pytest.approx(expected, abs=0.5)


@pytest.mark.parametrize(
    ("volume", "flow", "time", "expected"),
    [("90 L", "2 L/min", 20, 0.3588), ("1000 L", "2000 L/h", 60, 0.8647), ("1000 L", "2000 L/h", "30 min", 0.6321)],
)
def test_flushed_fraction_of_a_mixed_tank(volume: str, flow: str, time: str | float, expected: float) -> None:
    """1 - exp(-Q t/V) (evaluated)."""
    assert _value("flushed_fraction", volume=volume, flow=flow, time=time) == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize(("volume", "flow", "expected"), [(1000, 33.333, 2.0), (1500, 40, 1.6)])
def test_turnovers_an_hour(volume: float, flow: float, expected: float) -> None:
    """60 Q/V; twice an hour is what FAO 589 is remembered to ask for."""
    assert _value("turnover", volume=volume, flow=flow) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize(
    ("area", "depth", "porosity", "inflow", "siphon", "fill", "drain"),
    [(1.0, 0.25, 0.40, 8, 25, 12.50, 5.88), (2.0, 0.22, 0.38, 12, 40, 13.93, 5.97)],
)
def test_fill_and_drain_of_a_siphon_bed(
    area: float, depth: float, porosity: float, inflow: float, siphon: float, fill: float, drain: float
) -> None:
    """A d phi/Qin and A d phi/(Qs - Qin) (evaluated)."""
    bed = {"area": area, "depth": depth, "porosity": porosity, "inflow": inflow}
    assert _value("bed_fill_time", **bed) == pytest.approx(fill, abs=0.02)
    assert _value("bed_drain_time", **bed, siphon_flow=siphon) == pytest.approx(drain, abs=0.02)


@pytest.mark.parametrize(("area", "ratio", "feed", "fish"), [(4, 45, 180, 12.0), (2.5, 50, 125, 8.33)])
def test_feed_of_a_growing_area_and_the_fish_that_eat_it(area: float, ratio: float, feed: float, fish: float) -> None:
    """FAO 589 (8.1): 40 to 50 g/m2/d for leafy plants; fish that eat 1.5 % of their weight a day."""
    found = _value("feed_rate", area=area, ratio=ratio)
    assert found == pytest.approx(feed, abs=0.01)
    assert _value("biomass_for_feed", feed=found, rate=1.5) == pytest.approx(fish, abs=0.01)


def test_alkalinity_that_a_feed_uses_up() -> None:
    """100 g of feed a day, 3 g of nitrogen, takes about 21 g of carbonate: 60 mg/L last under six days in 2 m3.

    Evaluated with 3 % and 7.1 g/g from memory.
    """
    assert _value("carbonate_consumed", feed=100) == pytest.approx(21.0, rel=0.025)
    assert _value("carbonate_consumed", feed=100) / 3.0 == pytest.approx(7.1, rel=0.01)
    days = _value("alkalinity_runway", alkalinity=60, limit=0, volume="2 m3", feed=100)
    assert days == pytest.approx(60 * 2000 / (1000 * 3 * 100.0869 / 14.0067), rel=1e-9)
    assert 5.0 < days < 6.0


def test_acid_of_nitrification_by_stoichiometry() -> None:
    """A mole of ammonium gives two of acid and uses up one of calcium carbonate (reaction equation)."""
    feed = 14.0067 / 0.03
    assert _value("nitrification_acid", feed=feed) == pytest.approx(2.0, rel=1e-12)
    assert _value("carbonate_consumed", feed=feed) == pytest.approx(100.0869, rel=1e-9)


def test_time_to_frost_of_a_cold_night() -> None:
    """Air of 6.2 degC that falls 1.4 an hour is at 3 degC in about 2 h 15 min (straight line, evaluated)."""
    hours = _value("frost_runway", temperature=6.2, slope="-1.4 degC/h", limit=3)
    assert hours * 60 == pytest.approx(137, abs=1)


def test_time_to_heat_and_to_a_dry_pump() -> None:
    """From 37 degC at 7.2 K/h to 40 degC takes 25 min; 126 L lost at 14 L/h last 9 h (evaluated)."""
    assert _value("heat_runway", temperature=37, slope=7.2, limit=40) * 60 == pytest.approx(25.0, rel=1e-9)
    assert _value("water_runway", volume=126, loss="14 L/h") == pytest.approx(9.0, rel=1e-9)


def test_time_to_low_oxygen_by_its_slope() -> None:
    """3.9 mg/L that falls 0.6 an hour is at 3.0 in 1 h 30 min (straight line, evaluated)."""
    assert _value("oxygen_slope_runway", oxygen=3.9, fall="0.6 mg/L/h", limit=3.0) == pytest.approx(1.5, rel=1e-9)


def test_a_right_angled_notch_is_near_the_cone_formula() -> None:
    """Cone's 2.49 h^2.48 cfs with h in feet, the field formula for 90 degrees (from memory), is met within 1.5 %."""
    level = np.linspace(0.06, 0.38, 33)
    cone = 2.49 * (level / 0.3048) ** 2.48 * 0.3048**3 * 60000.0
    np.testing.assert_allclose(v_notch_flow(level), cone, rtol=0.015)


def test_a_right_angled_notch_has_the_coefficients_of_the_standard() -> None:
    """At 90 degrees the method has C = 0.578 and k = 0.85 mm (ISO 1438, from memory)."""
    level = 0.2
    expected = 8.0 / 15.0 * 0.578 * (2 * 9.80665) ** 0.5 * (level + 0.00085) ** 2.5 * 60000.0
    assert v_notch_flow(level) == pytest.approx(expected, rel=0.001)


def test_evaporation_is_near_the_simple_pool_formula() -> None:
    """4e-5 kg/s for a square metre and a kPa at 0.1 m/s (ASHRAE's rule for pools, from memory) within 5 %."""
    found = _value("tank_evaporation", area=1, water_temperature=27, temperature=27, humidity=50)
    drive = _value("vapour_pressure_deficit", temperature=27, humidity=50)
    assert found / 86400 == pytest.approx(4e-5 * drive, rel=0.05)


@pytest.mark.parametrize(
    ("air_speed", "expected"),
    # 86400 x 2 m2 x drive x (0.089 + 0.0782 v)/(2501 - 2.361 x 26); e by FAO-56 eq. 11: 3.361 and 2.644 kPa.
    [(0.0, 10.3567), (0.1, 11.2666), (1.0, 19.4566)],
)
def test_evaporation_of_a_tank_by_hand(air_speed: float, expected: float) -> None:
    """2 m2 at 26 degC under air of 22 degC and 65 % lose some 11 L a day (equation evaluated by hand)."""
    tank = {"area": 2, "water_temperature": 26, "temperature": 22, "humidity": 65, "air_speed": air_speed}
    assert _value("tank_evaporation", **tank) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    ("permittivity", "percent"), [(4.0, 5.5), (5.0, 8.0), (10.0, 18.8), (20.0, 34.5), (30.0, 44.0)]
)
def test_soil_water_is_near_the_inverse_polynomial(permittivity: float, percent: float) -> None:
    """Topp's other polynomial, K = 3.03 + 9.3 w + 146 w^2 - 76.7 w^3 (from memory), is met within 1.5 points."""
    water = np.linspace(0.0, 0.6, 60001)
    curve = 3.03 + 9.3 * water + 146.0 * water**2 - 76.7 * water**3
    inverse = 100.0 * float(np.interp(permittivity, curve, water))
    found = _value("soil_water_content", permittivity=permittivity)
    assert found == pytest.approx(inverse, abs=1.5)
    assert found == pytest.approx(percent, abs=1.0)
