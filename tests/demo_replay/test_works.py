"""Do failures fall where they are put?"""

from __future__ import annotations

import numpy as np
import pytest

from demo_replay.works import Failure, Part, works

STEPS = np.arange(0, 4 * 3_600_000, 60_000, dtype=np.int64)


def test_a_part_fails_from_its_start_up_to_its_end() -> None:
    """At the start it has failed, just before the end it still has, at the end it works again."""
    able = works(STEPS, 0, [Failure("pump", 1.0, 2.0)]).of("pump")
    assert able[[59, 60, 119, 120]].tolist() == [1.0, 0.0, 0.0, 1.0]


def test_a_creeping_failure_grows_steadily() -> None:
    """Half way through, half of what will be lost is lost."""
    able = works(STEPS, 0, [Failure("intake", 0.0, 2.0, left=0.4, creeping=True)]).of("intake")
    assert able[[0, 60]] == pytest.approx([1.0, 0.7])


def test_without_mains_nothing_turns() -> None:
    """Mains of the house take the glasshouse's along, and these the pump's and the air pump's."""
    able = works(STEPS, 0, [Failure("home mains", 1.0, 2.0)])
    dead: tuple[Part, ...] = ("home mains", "mains", "pump", "air pump")
    assert [able.of(part)[90] for part in dead] == [0.0, 0.0, 0.0, 0.0]
    assert works(STEPS, 0, [Failure("mains", 1.0, 2.0)]).of("home mains")[90] == 1.0


def test_a_failure_of_a_bed_leaves_the_others_alone() -> None:
    """Parts that each bed has fail for one bed only."""
    able = works(STEPS, 0, [Failure("siphon break", 1.0, 2.0, bed=2)])
    assert [able.of("siphon break", bed)[90] for bed in (1, 2, 3)] == [1.0, 0.0, 1.0]


def test_leaks_add_up() -> None:
    """Two leaks at once lose the sum of both."""
    able = works(STEPS, 0, [Failure("sump", 0.0, 2.0, leak=0.2), Failure("sump", 1.0, 3.0, leak=0.3)])
    assert able.leak[[30, 90, 150, 200]] == pytest.approx([0.2, 0.5, 0.3, 0.0])


def test_water_from_the_tap_is_no_leak() -> None:
    """What runs in is told apart from what is lost."""
    able = works(STEPS, 0, [Failure("top-up", 1.0, 2.0, leak=0.8), Failure("sump", 0.0, 2.0, leak=0.2)])
    assert able.topped_up[[30, 90, 150]] == pytest.approx([0.0, 0.8, 0.0])
    assert able.leak[[30, 90, 150]] == pytest.approx([0.2, 0.2, 0.0])


def test_hours_count_from_the_midnight_that_is_given() -> None:
    """A recording that begins at noon still has its failures by the clock of its first midnight."""
    able = works(STEPS, -12 * 3_600_000, [Failure("pump", 13.0, 14.0)]).of("pump")
    assert able[[59, 60, 119, 120]].tolist() == [1.0, 0.0, 0.0, 1.0]
