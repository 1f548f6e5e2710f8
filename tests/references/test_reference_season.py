"""Do chill, growing degrees and light integral agree with their published tables?"""

from __future__ import annotations

import numpy as np
import pytest

from rules.derived.calc import calculate
from rules.derived.chill import chill_hours, utah_units
from rules.derived.degree_days import degree_days
from rules.derived.light import light_sum

EDGES = "-3 0.5 1.4 1.5 2.4 2.5 6 9.1 9.2 12.4 12.5 15.9 16 18 18.1 25"
DAY = "1 1 2 3 5 7 8 8 9 10 12 13 15 16 17 19 20 18 14 11 9 6 4 2"
ENDS = "0 0.1 7.2 7.3 -0.1 3.5 7.1 8"


def _listed(text: str) -> str:
    return text.replace(" ", ",")


@pytest.mark.parametrize(("hourly", "expected"), [(EDGES, 2), (DAY, 8), (ENDS, 5)])
def test_utah_chill_of_a_series(hourly: str, expected: float) -> None:
    """Richardson, Seeley & Walker 1974 in Celsius; the Fahrenheit coding would give 2, 7 and 5."""
    found = calculate("utah_chill", {"temperatures": _listed(hourly)})
    assert (found.value, found.unit) == (expected, "units")


def test_utah_units_value_by_value() -> None:
    """Every edge of the Utah table falls on its own side (Richardson, Seeley & Walker 1974)."""
    units = [0, 0, 0, 0.5, 0.5, 1, 1, 1, 0.5, 0.5, 0, 0, -0.5, -0.5, -1, -1]
    np.testing.assert_array_equal(utah_units(np.array([float(text) for text in EDGES.split()])), units)


@pytest.mark.parametrize(("hourly", "expected", "without_low_end"), [(EDGES, 6, 6), (DAY, 9, 9), (ENDS, 5, 3)])
def test_chill_hours_count_both_ends(hourly: str, expected: float, without_low_end: float) -> None:
    """0 <= T <= 7.2 degC is the count used; sources differ on the ends and the third row shows the difference."""
    found = calculate("chill_hours", {"temperatures": _listed(hourly)})
    assert (found.value, found.unit) == (expected, "h")
    hours = [float(text) for text in hourly.split()]
    assert sum(0 < hour < 7.2 for hour in hours) == without_low_end


@pytest.mark.parametrize(("hourly", "expected"), [(EDGES, 7), (DAY, 9), (ENDS, 6)])
def test_chill_hours_without_a_low_end(hourly: str, expected: float) -> None:
    """The variant T <= 7.2 degC is had by giving a low end that is never reached."""
    assert chill_hours(np.array([float(text) for text in hourly.split()]), low=-50.0) == expected


@pytest.mark.parametrize(
    ("name", "limit", "hours"),
    [
        ("hours_below", {"limit": 2.0}, 1),
        ("hours_above", {"limit": 2.0}, 2),
        ("leaf_wetness_hours", {"threshold": 2.0}, 3),
        ("leaf_wetness_hours", {}, 1),
    ],
)
def test_hours_beyond_a_limit(name: str, limit: dict[str, float], hours: float) -> None:
    """Below and above leave the limit out, wetness takes it in; its default is 90 % (from memory)."""
    series = "humidities" if name == "leaf_wetness_hours" else "temperatures"
    listed = "1.9, 2, 2.1, 50" if limit.get("threshold") or series == "temperatures" else "89.9, 90"
    assert calculate(name, {series: listed, **limit}).value == hours


# McMaster & Wilhelm 1997: Tmax, Tmin, base -> method 1, method 2; exact.
GROWING = [
    (25, 15, 10, 10, 10),
    (20, 5, 10, 2.5, 5),
    (14, 2, 10, 0, 2),
    (9, 3, 10, 0, 0),
    (12, -6, 0, 3, 6),
    (10, -4, 0, 3, 5),
    (30, 18, 10, 14, 14),
    (35, 20, 10, 17.5, 17.5),
]


@pytest.mark.parametrize(("maximum", "minimum", "base", "first", "second"), GROWING)
def test_degree_days_of_a_day_by_both_methods(
    maximum: float, minimum: float, base: float, first: float, second: float
) -> None:
    """McMaster & Wilhelm 1997: the methods differ only when the minimum is below the base."""
    day = {"maximum": maximum, "minimum": minimum, "base": base}
    assert calculate("degree_days", day).value == first
    assert calculate("degree_days", {**day, "method": 1}).value == first
    assert calculate("degree_days", {**day, "method": 2}).value == second


def test_degree_days_with_an_upper_cutoff() -> None:
    """35 and 20 degC over base 10 with a cut-off at 30 is 15.0 by method 2 (McMaster & Wilhelm 1997)."""
    day = {"maximum": 35, "minimum": 20, "base": 10, "method": 2, "cutoff": 30}
    assert calculate("degree_days", day).value == 15.0


def test_degree_days_of_a_week() -> None:
    """A week over base 10 sums to 30.5 by method 1 and 36.0 by method 2 (McMaster & Wilhelm 1997)."""
    maximum = np.array([20.0, 14.0, 25.0, 9.0, 30.0, 12.0, 18.0])
    minimum = np.array([5.0, 2.0, 15.0, 3.0, 18.0, 8.0, 10.0])
    assert np.sum(degree_days(maximum, minimum, 10.0, 1)) == 30.5
    assert np.sum(degree_days(maximum, minimum, 10.0, 2)) == 36.0


@pytest.mark.parametrize(
    ("ppfd", "hours", "expected"),
    [
        (200, 16, 11.52), (400, 16, 23.04), (500, 12, 21.6), (38.1, 12, 1.646), (1, 24, 0.0864), (150, 18, 9.72),
        (600, 10, 21.6),
    ],
)  # fmt: skip
def test_light_integral(ppfd: float, hours: float, expected: float) -> None:
    """Extension tables print 500 and 38.1 for 12 h and 1 for 24 h; the other integrals are evaluated."""
    found = calculate("light_integral", {"ppfd": ppfd, "hours": hours})
    assert found.value == pytest.approx(expected, abs=0.001)
    assert found.unit == "mol/m2/d"


def test_ten_mol_in_six_hours() -> None:
    """10 mol over 6 h is a light of 463 umol/m2/s, as an extension table prints."""
    assert calculate("light_integral", {"ppfd": 463, "hours": 6}).value == pytest.approx(10.0, abs=0.005)


def test_light_of_a_series_by_trapezoids() -> None:
    """numpy's trapezoid of 0 100 300 450 400 200 0 every 600 s is 0.87 mol/m2."""
    readings = [0.0, 100.0, 300.0, 450.0, 400.0, 200.0, 0.0]
    assert calculate("light_sum", {"ppfd": readings, "interval": "10 min"}).value == pytest.approx(0.87, abs=1e-12)
    uneven_ends = np.array([120.0, 80.0, 410.0])
    expected = np.trapezoid(uneven_ends, dx=60.0) / 1e6
    assert light_sum(uneven_ends, 60.0) == pytest.approx(expected, rel=1e-12)
