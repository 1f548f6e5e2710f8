"""Are the deadbands and delays to begin with those that are published by signal type?

EEMUA 191 as quoted in several texts, read for flow, level, pressure, temperature and composition deadbands; the delays
are from memory of the same guides and are defaults to be configured, not facts.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from rules.metrics import BIN, CHATTERING, CHATTERING_WITHIN, FLOOD_BEGINS_OVER, FLOOD_ENDS_UNDER, STALE
from rules.quantities import QUANTITIES
from rules.suggested import suggested


@pytest.mark.parametrize(
    ("quantity", "per_cent", "seconds"),
    [
        ("flow", 5, 15),
        ("level", 2, 60),
        ("pressure", 2, 15),
        ("air_temperature", 1, 60),
        ("water_temperature", 1, 60),
        ("dissolved_oxygen", 1, None),
        ("ph", 1, None),
    ],
)
def test_deadbands_and_delays_are_those_of_the_signal(quantity: str, per_cent: int, seconds: int | None) -> None:
    """In per cent of the range; seconds on and off."""
    found = suggested(quantity)
    assert found is not None
    assert found.deadband == Fraction(per_cent, 100)
    assert found.delay == (None if seconds is None else 1000 * seconds)


def test_nothing_is_suggested_for_what_is_no_such_signal() -> None:
    """A state, a current; and every quantity that something is suggested for exists."""
    assert suggested("state") is None
    assert suggested("current") is None
    assert {name for name in QUANTITIES if suggested(name)} >= {"flow", "level", "ph"}


def test_the_daemons_defaults_are_the_standards_rates() -> None:
    """ANSI/ISA-18.2-2016, table 5, read second-hand: over 10 in 10 min, under 5, 3 in 1 min, 24 h."""
    assert (BIN, FLOOD_BEGINS_OVER, FLOOD_ENDS_UNDER) == (600_000, 10, 5)
    assert (CHATTERING, CHATTERING_WITHIN) == (3, 60_000)
    assert STALE == 86_400_000
