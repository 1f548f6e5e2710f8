"""Does a recording that is kept in little memory hold the very same readings?"""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from adapters.recordings.narrow import Narrow, piece
from rules.block import Block, block, concatenate, first_of_each_time
from rules.flags import Flag

TIMES = st.one_of(st.integers(0, 30), st.integers(-(2**40), 2**40))
COUNTS = st.one_of(st.integers(-9, 9), st.integers(-(2**53), 2**53))
READINGS = st.tuples(TIMES, COUNTS, st.sampled_from([Flag.NOT_EVALUATED, Flag.NOT_EVALUATED, Flag.MISSING]))
PIECES = st.lists(st.lists(READINGS, min_size=1, max_size=6), min_size=1, max_size=4)


def made(readings: list[tuple[int, int, Flag]]) -> Block:
    return block("p", [t for t, _, _ in readings], [v for _, v, _ in readings], [f for _, _, f in readings])


def same(one: Block, other: Block) -> bool:
    pairs = ((one.times, other.times), (one.values, other.values), (one.flags, other.flags))
    return all(np.array_equal(mine, theirs) for mine, theirs in pairs)


@given(PIECES, TIMES, TIMES)
def test_it_holds_what_was_put_in_sorted_the_first_of_equal_times_kept(
    listed: list[list[tuple[int, int, Flag]]], after: int, upto: int
) -> None:
    """Whatever the order, the widths and the ties; whole, and between any two times."""
    parts = [made(readings) for readings in listed]
    expected, repeats = first_of_each_time(concatenate("p", parts))
    narrow = Narrow()
    narrow.put("p", [piece(part.times, part.values, part.flags) for part in parts])
    assert same(narrow["p"], expected)
    assert narrow.repeats == repeats
    assert narrow.spans() == {"p": (int(expected.times[0]), int(expected.times[-1]))}
    between = concatenate("p", narrow.read("p", after, upto))
    assert same(between, expected.between(after, upto))
    assert list(narrow.read("q", after, upto)) == []
