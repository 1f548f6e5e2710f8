"""Which few points of a long column draw the same line? First, lowest, highest and last of each pixel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rules.block import Counts, Times


def thinned(times: Times, values: Counts, span: tuple[int, int], pixels: int) -> NDArray[np.intp]:
    """Positions, sorted, of the readings that matter when `span` (ms) is `pixels` wide; at most four a pixel.

    times: int64[n] sorted ms, all within `span`; values: int64[n].
    """
    count = len(times)
    if count <= 4 * pixels:
        return np.arange(count)
    column = (times - span[0]) * pixels // max(span[1] - span[0] + 1, 1)
    first = np.flatnonzero(np.concatenate(([True], column[1:] != column[:-1])))
    last = np.concatenate((first[1:], [count])) - 1
    # By column, then by value: the ends of each column's stretch are its lowest and highest reading.
    order = np.lexsort((values, column))
    return np.unique(np.concatenate((first, last, order[first], order[last])))


def breaks(times: Times, hold: int) -> NDArray[np.intp]:
    """Positions i >= 1 at which the value before had ended: more than `hold` ms after it."""
    return np.flatnonzero(times[1:] - times[:-1] > hold) + 1
