"""When did a rule stand under each of many settings? Spells in flat columns, setting after setting."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

OPEN = np.iinfo(np.int64).max
"""Stands for the return of an alarm that had not returned when the recording ended."""


class Spells(NamedTuple):
    """Alarms under many settings: int64[n] each, sorted by setting, then time.

    setting: number of the setting; since: when the condition became true; raised: when the alarm came;
    returned: when it was over, OPEN if it was not. Times in ms UTC.
    """

    setting: NDArray[np.int64]
    since: NDArray[np.int64]
    raised: NDArray[np.int64]
    returned: NDArray[np.int64]


def joined(parts: Sequence[Spells]) -> Spells:
    """The parts, of ascending settings, as one."""
    if not parts:
        none = np.empty(0, np.int64)
        return Spells(none, none, none, none)
    return Spells(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))
