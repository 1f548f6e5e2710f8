"""Are waits between tries short at first, never too long, and not the same for all who wait?"""

from __future__ import annotations

import pytest

from adapters.backoff import FIRST, Backoff, wait_before


@pytest.mark.parametrize("longest", [60.0, 300.0])
@pytest.mark.parametrize("number", [1, 2, 3, 9, 10_000])
def test_waits_double_at_random_up_to_the_longest(number: int, longest: float) -> None:
    """Between half of the wait and the whole; never above the longest, however many tries."""
    whole = min(longest, FIRST * 2.0 ** min(number - 1, 100))
    assert [wait_before(number, chance, longest) for chance in (0.0, 0.5, 1.0)] == [whole / 2, whole * 0.75, whole]


def test_waits_double_up_to_the_longest_and_begin_again() -> None:
    """Each is drawn between half of the wait and the whole."""
    lowest, highest = Backoff(1, 10, lambda: 0.0), Backoff(1, 10, lambda: 1.0)
    assert [lowest.next() for _ in range(6)] == [0.5, 1, 2, 4, 5, 5]
    assert [highest.next() for _ in range(6)] == [1, 2, 4, 8, 10, 10]
    highest.reset()
    assert highest.next() == 1


def test_chance_spreads_the_waits() -> None:
    """Two clients do not come back together."""
    one, other = Backoff(), Backoff()
    assert [one.next() for _ in range(5)] != [other.next() for _ in range(5)]
