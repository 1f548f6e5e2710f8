"""Are raw counts calibrated exactly and rounded once, by the records that were known and in force?"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.calibration import (
    NERNST_AT_25,
    Record,
    air_saturation,
    calibrated,
    electrode_efficiency,
    known,
    nernst_slope,
    one_point,
    two_points,
)
from rules.door import LARGEST_COUNT
from rules.errors import SettingError
from rules.units import convert, parse_unit

F = Fraction

COEFFICIENT = st.fractions(-1000, 1000, max_denominator=10_000)


@given(
    raw=st.lists(st.integers(-(2**53), 2**53), max_size=20),
    coefficients=st.lists(COEFFICIENT, min_size=1, max_size=4),
    raw_resolution=st.sampled_from([F(1), F(1, 10), F(1, 1000)]),
)
def test_it_is_the_exact_value_rounded_half_to_even(
    raw: list[int], coefficients: list[Fraction], raw_resolution: Fraction
) -> None:
    """Whatever the polynomial, as Python's own rational numbers have it."""
    exact = [round(sum(c * (v * raw_resolution) ** k for k, c in enumerate(coefficients)) / F(1, 100)) for v in raw]
    times = np.arange(len(raw))
    found, good = calibrated(times, np.array(raw, np.int64), raw_resolution, F(1, 100), [(0, coefficients)], None)
    assert good.tolist() == [abs(value) <= LARGEST_COUNT for value in exact]
    assert found.tolist() == [value if abs(value) <= LARGEST_COUNT else 0 for value in exact]


def test_the_largest_count_is_one_and_the_next_is_not() -> None:
    """Either sign; what is too large is missing, not wrong."""
    raw = np.array([LARGEST_COUNT, LARGEST_COUNT + 1, -LARGEST_COUNT, -LARGEST_COUNT - 1])
    found, good = calibrated(np.arange(4), raw, F(1), F(1), [(0, (F(0), F(1)))], None)
    assert good.tolist() == [True, False, True, False]
    assert found.tolist() == [LARGEST_COUNT, 0, -LARGEST_COUNT, 0]


def test_an_offset_and_a_line() -> None:
    """One point moves, two points move and stretch."""
    assert one_point(F(20), F("20.3")) == (F("0.3"), F(1))
    offset, slope = two_points((F("0.2"), F(0)), (F("99.4"), F(100)))
    assert [offset + slope * raw for raw in (F("0.2"), F("99.4"))] == [0, 100]
    with pytest.raises(SettingError):
        two_points((F(7), F(7)), (F(7), F(4)))


def test_oxygen_in_air_shows_saturation() -> None:
    """9.09 mg/L at 20 degC and 760 mmHg (USGS table): a probe that shows 8.7 there gains 4.5 %."""
    _, gain = air_saturation(F("8.7"), F("9.09"))
    assert gain * F("8.7") == F("9.09")
    with pytest.raises(SettingError):
        air_saturation(F(0), F("9.09"))


def test_the_nernst_slope_is_that_of_the_textbooks() -> None:
    """59.16 mV at 25 degC, 58.17 at 20 and 54.20 at 0 (R T ln 10 / F)."""
    assert [round(nernst_slope(t), 2) for t in (25, 20, 0)] == [NERNST_AT_25, 58.17, 54.2]


def test_an_electrode_is_judged_by_its_share_of_that_slope() -> None:
    """0 mV at pH 7 and 177.5 at pH 4 are all of it at 25 degC, 150 mV are worn."""
    assert electrode_efficiency((F(0), F(7)), (F("177.48"), F(4)), 25) == pytest.approx(100, abs=0.01)
    assert electrode_efficiency((F(0), F(7)), (F(150), F(4)), 25) == pytest.approx(84.5, abs=0.1)


def test_each_record_holds_from_its_own_time_on() -> None:
    """In whatever order readings come; before the first a raw value stands as it is, or means nothing."""
    records = [(20, one_point(F(0), F(1))), (30, one_point(F(0), F(2)))]
    times, raw = np.array([30, 10, 20, 29]), np.array([5, 5, 5, 5])
    found, good = calibrated(times, raw, F(1), F(1), records, (F(0), F(1)))
    assert (found.tolist(), good.tolist()) == ([7, 5, 6, 6], [True] * 4)
    found, good = calibrated(times, raw, F(1), F(1), records, None)
    assert (found.tolist(), good.tolist()) == ([7, 0, 6, 6], [True, False, True, True])


@given(raw=st.fractions(-100, 100, max_denominator=100), c=st.lists(COEFFICIENT, min_size=1, max_size=4))
def test_a_record_means_the_same_in_other_units(raw: Fraction, c: list[Fraction]) -> None:
    """Made in mV and degC, asked in V and degF: the same temperature."""
    millivolts, volts, celsius, fahrenheit = (parse_unit(u) for u in ("mV", "V", "degC", "degF"))
    record = Record(0, 0, tuple(c), "mV", "degC")
    other = Record(0, 0, record.between(volts, fahrenheit))
    assert other.value(raw / 1000) == convert(record.value(raw), celsius, fahrenheit)
    assert Record(0, 0, record.between(millivolts, celsius)).value(raw) == record.value(raw)


def test_a_replay_may_judge_by_what_was_known_then() -> None:
    """A record that was entered later counts only from then; of two for one time the later entry counts."""
    first, late, again = Record(10, 10, (F(1),)), Record(5, 50, (F(2),)), Record(10, 60, (F(3),))
    assert known([late, again, first]) == [late, again]
    assert known([late, again, first], as_of=50) == [late, first]
    assert known([late, again, first], as_of=49) == [first]
