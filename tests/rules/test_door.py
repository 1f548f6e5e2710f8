"""Does a value become a whole number of counts exactly, rounded half to even once?"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.door import Door, as_decimal, decimal_places, door
from rules.errors import ValueRefused
from rules.units import parse_unit


def tenth() -> Door:
    """A door of a point with a resolution of 0.1 in its own unit."""
    return door(parse_unit("degC"), parse_unit("degC"), Fraction(1, 10))


@pytest.mark.parametrize(
    ("value", "counts", "rounded"),
    [
        ("0.25", 2, True),
        ("0.35", 4, True),
        ("-0.25", -2, True),
        ("0.3", 3, False),
        ("7", 70, False),
        ("0.2501", 3, True),
    ],
)
def test_ties_go_to_the_even_count(value: str, counts: int, rounded: bool) -> None:
    """Half to even, and a remainder is reported."""
    assert tenth().count(value) == (counts, rounded)


def test_fahrenheit_comes_in_exactly_and_is_rounded_once() -> None:
    """70 degF is 21.111... degC: 21.11 at a resolution of 0.01, with a remainder."""
    assert door(parse_unit("degF"), parse_unit("degC"), Fraction(1, 100)).count("70") == (2111, True)
    assert door(parse_unit("degF"), parse_unit("degC"), Fraction(1, 100)).count("68") == (2000, False)


@given(st.lists(st.decimals(-1000, 1000, places=3), min_size=1), st.sampled_from(["degC", "degF", "K"]))
def test_the_column_way_equals_the_exact_way(values: list[Decimal], unit: str) -> None:
    """A column of floats gives the counts that each written decimal gives alone."""
    way = door(parse_unit(unit), parse_unit("degC"), Fraction(1, 100))
    counts, rounded = way.column(np.array([float(value) for value in values]))
    each = [way.count(float(value)) for value in values]
    assert counts.tolist() == [count for count, _ in each]
    assert rounded == sum(inexact for _, inexact in each)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_a_column_with_no_number_in_it_is_refused(value: float) -> None:
    """NaN never becomes a count."""
    with pytest.raises(ValueRefused, match="not a finite number"):
        tenth().column(np.array([1.0, value]))


@pytest.mark.parametrize(("value", "fits"), [(2**53, True), (2**53 + 1, False)])
def test_counts_end_where_sums_could_overflow(value: int, fits: bool) -> None:
    """At the largest count a value still fits, above it is refused."""
    whole = door(parse_unit("1"), parse_unit("1"), Fraction(1))
    if fits:
        assert whole.count(value) == (value, False)
    else:
        with pytest.raises(ValueRefused, match="too large"):
            whole.count(value)


def test_a_unit_that_does_not_fit_has_no_door() -> None:
    """An oxygen probe cannot speak for a thermometer."""
    with pytest.raises(ValueRefused, match="mg/L does not fit a point measured in degC"):
        door(parse_unit("mg/L"), parse_unit("degC"), Fraction(1))


@pytest.mark.parametrize(
    ("resolution", "places"), [("1", 0), ("0.1", 1), ("0.05", 2), ("0.125", 3), ("5", 0), ("1/3", 12)]
)
def test_decimal_places_show_every_count(resolution: str, places: int) -> None:
    """As many places as the resolution needs, at most twelve."""
    assert decimal_places(Fraction(resolution)) == places


@given(st.integers(-(10**9), 10**9), st.sampled_from(["0.001", "0.05", "1", "0.125"]))
def test_out_and_in_again_is_the_same_count(counts: int, resolution: str) -> None:
    """The decimal that shows a count comes back as that count."""
    step = Fraction(resolution)
    again = door(parse_unit("1"), parse_unit("1"), step).count(as_decimal(counts, step))
    assert again == (counts, False)
