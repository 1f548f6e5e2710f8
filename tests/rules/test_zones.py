"""Do the extremes of zones say of a long series just what every one of its readings says?"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.predicates import Predicate, over, under
from rules.span import ALL
from rules.windowed import Ahead, Moved, Steeper, Still
from rules.zones import MANY, Zones, steepest, windows
from tests.rules.long_series import HALF_HOUR, series


def statements(limit: int) -> list[Predicate]:
    """One of each kind, near what the series does."""
    rate = Fraction(limit, HALF_HOUR)
    found: list[Predicate] = [over(Fraction(limit)), under(Fraction(-limit))]
    for sign in (1, -1):
        found += [
            Steeper(rate, sign, HALF_HOUR, 5, HALF_HOUR // 2),
            Steeper(rate - Fraction(1, HALF_HOUR), sign, 4 * HALF_HOUR, 5, HALF_HOUR, opposite=True),
            Ahead(Fraction(sign * limit), sign, HALF_HOUR, HALF_HOUR, 5, HALF_HOUR // 2, False),
            Ahead(Fraction(sign * limit), sign, HALF_HOUR, HALF_HOUR, 5, HALF_HOUR // 2, True),
        ]
    return [*found, *(kind(Fraction(limit), n * HALF_HOUR) for kind in (Still, Moved) for n in (1, 12))]


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32), st.integers(0, 60))
def test_zones_find_the_changes_that_every_reading_finds(seed: int, limit: int) -> None:
    """Each kind of statement changes at the same readings, to the same truths, with zones and without."""
    span = series(seed)
    assert len(span.t) >= MANY
    for statement in statements(limit):
        truths = statement.truths(span, ALL)
        changes, at = statement.changes(span)
        assert np.array_equal(changes, np.flatnonzero(truths[1:] != truths[:-1]) + 1), statement.__dict__
        everywhere = np.concatenate(([0], changes, span.restarts))
        assert np.array_equal(at(everywhere).astype(np.int8), truths[everywhere].astype(np.int8)), statement.__dict__


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32), st.sampled_from([2, 16, 64]))
def test_no_slope_is_steeper_than_its_zone_allows(seed: int, width: int) -> None:
    """The bound of a zone is at least the slope of every window that ends there; where it is finite all are filled."""
    span = series(seed)
    zones = Zones(span.own, span.v, width)
    most = steepest(zones, windows(zones, HALF_HOUR, span.restarts), HALF_HOUR, 5, HALF_HOUR // 2)
    found = span.slopes(HALF_HOUR)
    enough = span.enough(HALF_HOUR, 5, HALF_HOUR // 2)
    slope = np.abs(found.above / np.where(found.below == 0, 1, found.below).astype(float))
    each = np.repeat(most, width)[: len(slope)]
    assert enough[np.isfinite(each)].all()
    assert (slope <= each * (1 + 1e-9)).all()


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32), st.integers(-60, 60), st.sampled_from([3, 16, 100, 7000]))
def test_zones_of_any_width_find_the_same_crossings(seed: int, limit: int, width: int) -> None:
    """Where a value passes a limit does not depend on the zones that are looked at first."""
    values = series(seed).v
    above = values > limit
    found = Zones(np.arange(len(values), dtype=np.int64), values, width).crossings(limit)
    assert np.array_equal(found, np.flatnonzero(above[1:] != above[:-1]) + 1)


@pytest.mark.parametrize("limit", [-1, 0, 1, 2, 3])
def test_a_change_at_the_border_of_zones_is_found_once(limit: int) -> None:
    """Below, at and above the values of a series that changes in the first, a middle and the last place of zones."""
    values = np.repeat([0, 2, 0, 2, 0, 1, 0, 2], [3, 1, 8, 1, 3, 4, 3, 2]).astype(np.int64)
    zones = Zones(np.arange(len(values), dtype=np.int64), values, 4)
    above = values > limit
    assert zones.crossings(limit).tolist() == [i for i in range(1, len(values)) if above[i] != above[i - 1]]
