"""Is a history read across a change of unit or resolution exactly, rounded once?"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.store import Store
from daemon.store.errors import QuantityChanged
from daemon.store.series import Series, through
from rules.block import block
from rules.door import LARGEST_COUNT
from rules.errors import ValueRefused
from rules.flags import Flag
from rules.plan import PointPlan
from rules.units import convert, parse_unit

from .conftest import LEVEL, WATER

resolutions = st.sampled_from([Fraction(1), Fraction(1, 10), Fraction(1, 1000), Fraction(1, 16), Fraction(1, 3)])
temperatures = st.sampled_from(["degC", "degF", "K"])


def in_unit(unit: str, resolution: Fraction) -> PointPlan:
    """The tank's temperature in another unit or resolution."""
    return PointPlan(WATER.id, WATER.quantity, unit, resolution)


def values(store: Store, point: str = WATER.id) -> list[int]:
    """All counts of a point."""
    return [int(v) for part in store.read(point, -(2**62), 2**62) for v in part.values]


@settings(deadline=None)
@given(
    st.lists(st.integers(-(10**9), 10**9) | st.integers(-(2**50), 2**50), max_size=20),
    temperatures,
    resolutions,
    temperatures,
    resolutions,
)
def test_conversion_is_exact_and_rounded_once_half_to_even(
    counts: list[int], unit: str, resolution: Fraction, to: str, finer: Fraction
) -> None:
    """Every count becomes the rational value in the other unit, rounded once as Python rounds a Fraction."""
    way = Series(1, 1, "p", "water_temperature", unit, resolution).door_to(to, finer)
    exact = [round(convert(c * resolution, parse_unit(unit), parse_unit(to)) / finer) for c in counts]
    column = np.array(counts, np.int64)
    if any(abs(count) > LARGEST_COUNT for count in exact):
        with pytest.raises(ValueRefused, match="too large"):
            through(way, column, column > 2**62)
        return
    assert through(way, column, column > 2**62).tolist() == exact


def test_a_tie_goes_to_the_even_neighbour() -> None:
    """Half a count rounds to the even one, above and below zero."""
    way = Series(1, 1, "p", "water_temperature", "degC", Fraction(1, 10)).door_to("degC", Fraction(1))
    counts = np.array([5, 15, 25, -5, -15, 4, 6])
    assert through(way, counts, counts > 99).tolist() == [0, 2, 2, 0, -2, 0, 1]


def test_a_change_of_resolution_starts_a_new_series_and_reads_across(open_store: Callable[..., Store]) -> None:
    """21.56 and 21.565 degC read as counts of 0.001, and as counts of 0.01 after a change back."""
    store = open_store(in_unit("degC", Fraction(1, 100)))
    store.commit([block(WATER.id, [1000], [2156])])
    store = open_store(in_unit("degC", Fraction(1, 1000)))
    store.commit([block(WATER.id, [2000], [21565])])
    assert values(store) == [21560, 21565]
    store = open_store(in_unit("degC", Fraction(1, 100)))
    assert values(store) == [2156, 2156]


def test_a_change_of_unit_converts_with_its_offset(open_store: Callable[..., Store]) -> None:
    """77 degF reads as 25 degC. (A definition: degC = (degF - 32) / 1.8.)"""
    store = open_store(in_unit("degF", Fraction(1, 10)))
    store.commit([block(WATER.id, [1000], [770])])
    assert values(open_store(WATER)) == [25_000]


def test_a_missing_reading_stays_missing_across_units(open_store: Callable[..., Store]) -> None:
    """Its value is 0 counts in any unit, not 32 degF."""
    store = open_store(WATER)
    store.commit([block(WATER.id, [1000, 2000], [None, 0])])
    (part,) = open_store(in_unit("degF", Fraction(1, 10))).read(WATER.id, 0, 9999)
    assert part.values.tolist() == [0, 320]
    assert part.flags.tolist() == [Flag.MISSING, Flag.NOT_EVALUATED]


def test_a_repeat_in_another_resolution_is_the_same_reading(open_store: Callable[..., Store]) -> None:
    """A message sent again after the change is a repeat, and contradicts only with another value."""
    store = open_store(in_unit("degC", Fraction(1, 100)))
    store.commit([block(WATER.id, [1000], [2156])])
    store = open_store(WATER)
    assert store.commit([block(WATER.id, [1000], [21560])]).repeats == 1
    assert store.commit([block(WATER.id, [1000], [21561])]).contradicted == 1
    assert values(store) == [21560]


def test_a_point_cannot_change_what_it_measures(open_store: Callable[..., Store]) -> None:
    """Another quantity under an old name is refused, and the former plan stays in use."""
    store = open_store()
    with pytest.raises(QuantityChanged, match=r"bed2.level has a history of level .* a point id of its own"):
        store.use([PointPlan("new.point", "flow", "L/min", Fraction(1)), PointPlan(LEVEL.id, "ph", "pH", Fraction(1))])
    store.commit([block(LEVEL.id, [1000], [7])])
    with pytest.raises(KeyError, match=r"new\.point"):
        store.commit([block("new.point", [1000], [7])])


def test_a_reading_of_an_unknown_point_is_an_error_and_nothing_is_written(store: Store) -> None:
    """The whole commit is undone."""
    with pytest.raises(KeyError):
        store.commit([block(WATER.id, [1], [1]), block("stranger", [1], [1])])
    assert store.points() == []
