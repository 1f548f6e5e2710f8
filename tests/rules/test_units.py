"""Do units convert exactly, and are wrong ones refused by name?"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.errors import UnitError, ValueRefused
from rules.units import UNITS, convert, exact, parse_amount, parse_rate, parse_unit, split_amount, with_unit

# reference-checks: conversions of Pint 0.25.3, relative 1e-6, and RFC 8798 secondary units.
PUBLISHED = [
    ("760", "mmHg", "Pa", 101325.0144),
    ("14.7", "psi", "kPa", 101.3529),
    ("10", "mg/L", "kg/m3", 0.01),
    ("1", "ft3/min", "m3/s", 0.000471947),
    ("1", "m3/h", "L/min", 16.66667),
    ("10", "gal/min", "L/min", 37.85412),
    ("1000", "uS/cm", "S/m", 0.1),
    ("1", "mH2O", "kPa", 9.80665),
    ("68", "degF", "degC", 20.0),
    ("45", "degF", "degC", 7.2222),
    ("20", "mA", "A", 0.02),
    ("950", "hPa", "Pa", 95000),
    ("15", "cm", "m", 0.15),
    ("7500000", "ug/m3", "kg/m3", 0.0075),
]


@pytest.mark.parametrize(("value", "unit", "to", "expected"), PUBLISHED)
def test_published_conversions_hold(value: str, unit: str, to: str, expected: float) -> None:
    """Conversions agree with Pint 0.25.3 and RFC 8798 as quoted in the project's reference values."""
    found = float(convert(exact(value), parse_unit(unit), parse_unit(to)))
    assert found == pytest.approx(expected, rel=1e-5)


def test_freezing_and_boiling_convert_without_a_remainder() -> None:
    """32 degF is 0 degC and 212 degF is 100 degC, exactly (definition of the scale)."""
    assert convert(Fraction(32), parse_unit("degF"), parse_unit("degC")) == 0
    assert convert(Fraction(212), parse_unit("degF"), parse_unit("degC")) == 100


def test_a_difference_converts_by_scale_alone() -> None:
    """1 degF of deadband is 5/9 K, without the offset."""
    assert parse_amount("1 degF", parse_unit("degC"), difference=True) == Fraction(5, 9)


@given(
    st.sampled_from(sorted(UNITS)),
    st.fractions(min_value=-1000, max_value=1000, max_denominator=1000),
)
def test_there_and_back_is_exact(symbol: str, value: Fraction) -> None:
    """Converting to any unit of the same dimension and back gives the very same number."""
    unit = UNITS[symbol]
    for other in UNITS.values():
        if other.dimension == unit.dimension:
            assert convert(convert(value, unit, other), other, unit) == value


def test_an_unknown_unit_is_refused_with_the_nearest() -> None:
    """A slip of the pen names what may have been meant."""
    with pytest.raises(UnitError, match=r"unit 'degC1' is not known; did you mean degC"):
        parse_unit("degC1")


def test_a_unit_of_another_dimension_is_refused() -> None:
    """A flow is not a temperature."""
    with pytest.raises(UnitError, match=r"L/min measures flow, not temperature"):
        parse_amount("3 L/min", parse_unit("degC"))


@pytest.mark.parametrize("text", ["", "warm", "1,5", "nan", "inf", "-Infinity"])
def test_what_is_no_finite_number_is_refused(text: str) -> None:
    """Words, commas, NaN and infinities are no values."""
    with pytest.raises(ValueRefused, match="not a"):
        exact(text)


@pytest.mark.parametrize("text", ["1e999", "1e-999", "9" * 40])
def test_absurd_sizes_are_refused_before_they_cost_anything(text: str) -> None:
    """A hostile exponent does not make a number of a billion digits."""
    with pytest.raises(ValueRefused, match="out of any range"):
        exact(text)


def test_a_float_counts_as_its_shortest_text() -> None:
    """0.1 is one tenth, not the binary fraction nearest to it."""
    assert exact(0.1) == Fraction(1, 10)
    assert exact(Decimal("0.10")) == Fraction(1, 10)


@pytest.mark.parametrize(
    ("text", "parts"),
    [("90 degF", ("90", "degF")), ("90degF", ("90", "degF")), ("-1.5e-3 mg/L", ("-1.5e-3", "mg/L")), ("7", ("7", ""))],
)
def test_number_and_unit_are_told_apart(text: str, parts: tuple[str, str]) -> None:
    """With or without a blank, with or without an exponent."""
    assert split_amount(text) == parts


def test_a_rate_takes_any_time_unit() -> None:
    """0.6 degC/h is one count of 0.01 degC a minute."""
    assert parse_rate("0.6 degC/h", parse_unit("degC")) * 60_000 == Fraction(1, 100)
    assert parse_rate("1.08 degF/h", parse_unit("degC")) == parse_rate("0.6 degC/h", parse_unit("degC"))


@pytest.mark.parametrize("text", ["0.5", "0.5 degC", "0.5 mg/L/h", 0.5])
def test_a_rate_without_a_fitting_unit_is_refused(text: str | float) -> None:
    """A bare number, a unit without a time, and another dimension are refused by name."""
    with pytest.raises(UnitError):
        parse_rate(text, parse_unit("degC"))


@pytest.mark.parametrize("text", ["", "warm", "degC"])
def test_text_that_begins_with_no_number_is_refused_as_it_was_written(text: str) -> None:
    """The message shows all of it."""
    with pytest.raises(ValueRefused, match=f"^'{text}' is not a number"):
        parse_amount(text, parse_unit("degC"))


@pytest.mark.parametrize(
    ("value", "told"), [(Decimal("26.0"), "26.0 degC"), (Decimal(0), "0 degC"), ("0", "0 degC"), ("90 degF", "90 degF")]
)
def test_an_amount_is_told_with_one_unit(value: Decimal | str, told: str) -> None:
    """Its own where it has one, else the point's."""
    assert with_unit(value, "degC") == told
