"""Is the chance of the demo days fair, seeded, and the same for everyone?"""

from __future__ import annotations

import numpy as np
import pytest

from demo_replay.physics.chance import Chance


def test_same_seed_and_name_give_the_same_draws() -> None:
    """A stream depends on its seed and its name, and on nothing else."""
    assert np.array_equal(Chance(5, "a").uniform(50), Chance(5, "a").uniform(50))
    assert not np.array_equal(Chance(5, "a").uniform(50), Chance(5, "b").uniform(50))
    assert not np.array_equal(Chance(5, "a").uniform(50), Chance(6, "a").uniform(50))


def test_uniform_draws_fill_their_span() -> None:
    """Uniform draws stay within [low, high) and have the mean and spread of a uniform distribution."""
    drawn = Chance(1, "u").uniform(40_000, -2.0, 4.0)
    assert drawn.min() >= -2.0
    assert drawn.max() < 4.0
    assert drawn.mean() == pytest.approx(1.0, abs=0.05)
    assert drawn.std() == pytest.approx(6.0 / 12**0.5, abs=0.02)


def test_bell_draws_have_mean_0_and_deviation_1() -> None:
    """Twelve uniform draws summed have variance 1 (12 x 1/12) and never pass 6."""
    drawn = Chance(1, "b").bell(40_000)
    assert drawn.mean() == pytest.approx(0.0, abs=0.02)
    assert drawn.std() == pytest.approx(1.0, abs=0.02)
    assert np.abs(drawn).max() <= 6.0


@pytest.mark.parametrize("n", [1, 19, 20, 21, 2880])
def test_drifting_and_wandering_are_as_long_as_asked(n: int) -> None:
    """Knots reach past the end, so that the last sample too lies between two of them."""
    assert len(Chance(1, "d").drifting(n, 20)) == n
    assert len(Chance(1, "w").wandering(n, 20, 0.8)) == n


def test_a_wander_keeps_what_it_is_told_to_keep() -> None:
    """Knots one apart are correlated by the share that each keeps of the one before."""
    knots = Chance(1, "w").wandering(40_000, 1, 0.8)
    assert np.corrcoef(knots[:-1], knots[1:])[0, 1] == pytest.approx(0.8, abs=0.02)
    assert knots.std() == pytest.approx(1.0, abs=0.05)
