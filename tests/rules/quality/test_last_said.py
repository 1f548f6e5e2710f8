"""Of what was said twice of a reading, does the last count?"""

from __future__ import annotations

import numpy as np

from rules.quality.quality import last_said


def test_the_last_word_on_each_reading_counts_in_order_of_time() -> None:
    """Whatever the order in which the lists hold their readings."""
    first = (np.array([30, 10]), np.array([1, 1], np.uint8))
    then = (np.array([10, 20]), np.array([4, 3], np.uint8))
    assert last_said([first, then]).listed() == [(10, 4), (20, 3), (30, 1)]


def test_one_list_alone_is_itself() -> None:
    """An empty one too."""
    assert last_said([(np.array([5]), np.array([3], np.uint8))]).listed() == [(5, 3)]
    assert last_said([(np.empty(0, np.int64), np.empty(0, np.uint8))]).listed() == []
