"""Do the extremes of zones say of a long series just what every one of its readings says?"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.block import Block
from rules.plan import PointPlan
from rules.predicates import Ahead, Moved, Predicate, Steeper, Still, over, under
from rules.running import Running
from rules.span import ALL, Span
from rules.track import Track
from rules.zones import MANY, Zones, steepest, windows

MINUTE = 60_000
HALF_HOUR = 30 * MINUTE


def series(seed: int, readings: int = 6000) -> Span:
    """Stretches that are calm, rough, stuck or stepping, evenly sent or with jitter, with some silences."""
    chance = np.random.default_rng(seed)
    stretches = chance.integers(2, 12)
    moves = [
        chance.choice([0, 0, 1, 1, 5, 40], chance.integers(200, 1200)) * chance.choice([-1, 1])
        for _ in range(stretches)
    ]
    steps = np.concatenate([np.where(chance.random(len(m)) < chance.choice([0, 0.02, 0.5]), m, 0) for m in moves])
    values = np.resize(np.cumsum(steps), readings) + chance.integers(-1, 2, readings) * chance.integers(0, 2)
    gaps = np.full(readings, MINUTE)
    if chance.random() < 0.6:
        gaps += chance.integers(-20_000, 20_000, readings)
    for at in chance.integers(1, readings, chance.integers(0, 4)):
        gaps[at] = chance.choice([2 * MINUTE, 5 * MINUTE, 300 * MINUTE])
    times = 1_000_000 + np.cumsum(gaps)
    track = Track(PointPlan("p", "level", "mm", Fraction(1), MINUTE, 4 * MINUTE), 0, 24 * HALF_HOUR)
    cut = int(chance.choice([0, 300]))
    upto = 0
    for part in (slice(0, cut), slice(cut, readings)):
        block = Block("p", times[part], values[part].astype(np.int64), np.full(len(times[part]), 2, np.uint8), True)
        before, upto = upto, int(times[part][-1]) if len(block) else upto
        span = track.advance(block, before, upto, Running())
    return span


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


@pytest.mark.parametrize("limit", [-1, 0, 1, 2, 3])
def test_a_change_at_the_border_of_zones_is_found_once(limit: int) -> None:
    """Below, at and above the values of a series that changes in the first, a middle and the last place of zones."""
    values = np.repeat([0, 2, 0, 2, 0, 1, 0, 2], [3, 1, 8, 1, 3, 4, 3, 2]).astype(np.int64)
    zones = Zones(np.arange(len(values), dtype=np.int64), values, 4)
    above = values > limit
    assert zones.crossings(limit).tolist() == [i for i in range(1, len(values)) if above[i] != above[i - 1]]
