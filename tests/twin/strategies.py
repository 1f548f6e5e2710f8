"""How does hypothesis draw a case?"""

from __future__ import annotations

import random

from hypothesis import strategies as st

from tests.twin.case import Case
from tests.twin.random_cases import random_case


def _in_time(rng: random.Random) -> Case:
    return random_case(rng, late=False)


def _with_late_ones(rng: random.Random) -> Case:
    return random_case(rng, late=True)


cases = st.builds(_in_time, st.randoms(use_true_random=False))
"""Cases in which nothing comes behind the frontier, repeats aside: cuts do not matter."""

late_cases = st.builds(_with_late_ones, st.randoms(use_true_random=False))
"""Cases in which readings and acts come behind the frontier."""


def _long(rng: random.Random) -> Case:
    return random_case(rng, long=True)


long_cases = st.builds(_long, st.randoms(use_true_random=False))
"""Cases with a thousand readings and more."""
