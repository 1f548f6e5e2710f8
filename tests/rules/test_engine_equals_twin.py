"""Do the fast engine and the naive twin say the same of any series, cut anywhere, restarted anywhere?

A disagreement found here is made smaller by `python -m tests.twin.fuzz`.
"""

from __future__ import annotations

import random

import pytest
from hypothesis import HealthCheck, given, settings

from tests.twin.case import Case
from tests.twin.judge import disagreement
from tests.twin.random_cases import random_case
from tests.twin.strategies import cases, late_cases

slow = settings(
    deadline=None, max_examples=100, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@slow
@given(cases)
def test_both_agree_wherever_the_series_is_cut(case: Case) -> None:
    """In steps, restored before each step, or as one block: one and the same list of events."""
    assert (disagreement(case, cuts_matter=False) or "") == "", case.show()


@slow
@given(late_cases)
def test_both_agree_when_readings_come_behind_the_frontier(case: Case) -> None:
    """In steps and restored before each step; here cuts matter, since they say what is behind."""
    assert (disagreement(case, cuts_matter=True) or "") == "", case.show()


@pytest.mark.parametrize("seed", [11, 14, 23, 24, 27, 30, 41, 45])
def test_both_agree_on_long_series(seed: int) -> None:
    """Where there are a thousand readings and more, what columns gain from many readings changes nothing."""
    case = random_case(random.Random(seed), long=True)
    assert disagreement(case, cuts_matter=False) is None
