"""Are readings written as the line protocol of the InfluxDB v2 API says, with every digit?"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.line_protocol import decimals, lines

T = 1_775_174_400_000


def one(tags: dict[str, str], resolution: Fraction, count: int, flag: int = 1) -> str:
    """One reading's line."""
    (line,) = lines(tags, resolution, np.array([T]), np.array([count]), np.array([flag], np.uint8))
    return line


def test_a_reading_is_one_line() -> None:
    """Tags in order of their names, the value as it was stored, the flag beside it, milliseconds."""
    tags = {"site": "valley", "point": "tank.temperature", "unit": "degC"}
    assert one(tags, Fraction(1, 1000), 27_100) == (
        "reading,point=tank.temperature,site=valley,unit=degC value=27.100,flag=1i 1775174400000"
    )


def test_a_missing_reading_has_a_flag_and_no_value() -> None:
    """Never a zero."""
    assert one({"point": "p"}, Fraction(1), 0, 9) == "reading,point=p flag=9i 1775174400000"


def test_signs_of_the_protocol_in_a_tag_are_escaped() -> None:
    """Commas, equals signs, blanks and backslashes (line protocol, "special characters"); empty tags are left out."""
    assert one({"site": "a b,c=d\\e\nf", "unit": ""}, Fraction(1), 1).split(" value")[0] == (
        "reading,site=a\\ b\\,c\\=d\\\\e f"
    )


@pytest.mark.parametrize(
    ("count", "resolution", "text"),
    [
        (-5, Fraction(1, 1000), "-0.005"),
        (5, Fraction(1, 16), "0.3125"),
        (-7, Fraction(5), "-35"),
        (2**53, Fraction(1, 1000), "9007199254740.992"),
        (1, Fraction(1, 3), "0.333333333333"),
        (0, Fraction(1, 10), "0.0"),
    ],
)
def test_values_keep_the_places_of_their_resolution(count: int, resolution: Fraction, text: str) -> None:
    """Below and above zero, decimal or not."""
    assert decimals([count], resolution) == [text]


@settings(deadline=None)
@given(
    st.integers(-(2**53), 2**53),
    st.sampled_from([Fraction(1, 10**n) for n in range(7)] + [Fraction(1, 16), Fraction(5)]),
)
def test_a_decimal_is_exact(count: int, resolution: Fraction) -> None:
    """The text is the rational value, to the last digit."""
    assert Fraction(Decimal(decimals([count], resolution)[0])) == count * resolution
