"""Is the quick door the same as the exact one?"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.payloads.doors import Doors, QuickDoor
from rules.door import door
from rules.errors import UnitError, ValueRefused
from rules.units import UNITS, Unit
from tests.fed_points import POINTS

UNIT = st.sampled_from(sorted(UNITS.values(), key=lambda unit: unit.symbol))
RESOLUTION = st.sampled_from(
    [Fraction(1, 1000), Fraction(1, 100), Fraction(1, 2), Fraction(1, 4), Fraction(1), Fraction(5), Fraction(1, 3)]
)
NUMBER = st.one_of(
    st.decimals(allow_nan=False, allow_infinity=False),
    st.decimals(min_value=-1000, max_value=1000, places=3),
    st.integers(-(10**18), 10**18).map(Decimal),
)


@given(NUMBER, UNIT, st.data(), RESOLUTION)
def test_the_quick_door_equals_the_exact_door(
    value: Decimal, sent: Unit, data: st.DataObject, resolution: Fraction
) -> None:
    """For every decimal, pair of units and resolution: the same counts, the same remainder, the same refusals."""
    own = data.draw(st.sampled_from([other for other in UNITS.values() if other.dimension == sent.dimension]))
    slow = door(sent, own, resolution)
    quick = QuickDoor(slow)
    try:
        wanted = slow.count(value)
    except ValueRefused:
        with pytest.raises(ValueRefused):
            quick.count(value)
    else:
        assert quick.count(value) == wanted


@pytest.mark.parametrize("text", ["NaN", "sNaN", "Infinity", "-Infinity"])
def test_no_finite_number_no_counts(text: str) -> None:
    """NaN and infinities are refused."""
    with pytest.raises(ValueRefused, match="not a finite number"):
        Doors(POINTS).find("tank.temperature", None).count(Decimal(text))


@pytest.mark.parametrize("text", ["1E+31", "1E-61", "1E+999999", "0E+999999"])
def test_an_exponent_out_of_range_is_refused_without_delay(text: str) -> None:
    """A short text with a huge exponent is refused before it is written out as a whole number."""
    with pytest.raises(ValueRefused, match="out of any range"):
        Doors(POINTS).find("tank.temperature", None).count(Decimal(text))


def test_doors_are_built_once_and_only_for_units_that_fit() -> None:
    """A door is kept for its point and unit; unknown units are refused each time and kept nowhere."""
    doors = Doors(POINTS)
    assert doors.find("tank.temperature", "degF") is doors.find("tank.temperature", "degF")
    for number in range(100):
        with pytest.raises(UnitError, match="not known"):
            doors.find("tank.temperature", f"unit{number}")
    assert len(doors._found) == 1
