"""Which settings are tried? Every combination of the values of one, two or three keys of a rule, numbered."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from demo_replay.tuning.scores import Scores

Written = Decimal | int | str
"""A value as it stands in a site file: a number in the point's unit, or text with a unit."""
_SHORT = 5


@dataclass(frozen=True, slots=True)
class Axis:
    """One key and the values that are tried for it.

    written: as they would stand in the site file; exact: the same in counts of the rule's point, ms, or plain numbers,
    rising; now, now_written: what the rule has today, None where it has none.
    """

    key: str
    written: tuple[Written, ...]
    exact: tuple[Fraction, ...]
    now: Fraction | None
    now_written: Written | None

    def __len__(self) -> int:
        return len(self.exact)

    def today(self) -> Axis:
        """The axis that holds today's value alone; ValueError where there is none."""
        if self.now is None or self.now_written is None:
            raise ValueError(f"{self.key} is not set today")
        return Axis(self.key, (self.now_written,), (self.now,), self.now, self.now_written)


@dataclass(frozen=True, slots=True)
class Grid:
    """Settings are numbered so that the last axis turns fastest."""

    axes: tuple[Axis, ...]

    @property
    def shape(self) -> tuple[int, ...]:
        """How many values each axis has."""
        return tuple(len(axis) for axis in self.axes)

    @property
    def size(self) -> int:
        """How many settings there are."""
        return math.prod(self.shape)

    @property
    def keys(self) -> tuple[str, ...]:
        """What is varied."""
        return tuple(axis.key for axis in self.axes)

    def setting(self, number: int) -> dict[str, Written]:
        """Key -> value of one setting, as written."""
        places = np.unravel_index(number, self.shape)
        return {axis.key: axis.written[int(place)] for axis, place in zip(self.axes, places, strict=True)}

    def today(self) -> Grid | None:
        """The grid of today's setting alone; None where a key has no value today."""
        if any(axis.now is None for axis in self.axes):
            return None
        return Grid(tuple(axis.today() for axis in self.axes))

    def number_of_today(self) -> int | None:
        """The number of today's setting, where it is among those that are tried."""
        places = [axis.exact.index(axis.now) if axis.now in axis.exact else None for axis in self.axes]
        known = [place for place in places if place is not None]
        return int(np.ravel_multi_index(known, self.shape)) if len(known) == len(places) else None

    def distance(self) -> NDArray[np.float64]:
        """How many steps each setting lies from today's, over all axes, float64[size]."""
        total = np.zeros(self.shape)
        for index, axis in enumerate(self.axes):
            if axis.now is not None and len(axis) > 1:
                step = axis.exact[1] - axis.exact[0]
                away = np.array([float(abs(value - axis.now) / step) for value in axis.exact])
                total += away.reshape([-1 if other == index else 1 for other in range(len(self.axes))])
        return total.reshape(-1)

    def nearest_to_today(self) -> int:
        """The number of the setting with the fewest steps from today's."""
        return int(np.argmin(self.distance()))

    def ends(self) -> NDArray[np.float64]:
        """At how many ends of what is tried each setting lies, float64[size].

        What lies beyond an end is not known. Axes with fewer than five values have no ends, and a value that the rule
        has today is none.
        """
        total = np.zeros(self.shape)
        for index, axis in enumerate(self.axes):
            if len(axis) >= _SHORT:
                at_end = np.array(
                    [place in (0, len(axis) - 1) and value != axis.now for place, value in enumerate(axis.exact)], float
                )
                total += at_end.reshape([-1 if other == index else 1 for other in range(len(self.axes))])
        return total.reshape(-1)

    def in_order(self, scores: Scores, order: Sequence[str]) -> Scores:
        """Scores of settings that were numbered with the axes in another order, numbered as here."""
        shape = tuple(len(self.axes[self.keys.index(key)]) for key in order)
        places = [order.index(key) for key in self.keys]

        def turned(column: NDArray[np.int64]) -> NDArray[np.int64]:
            rest = column.shape[1:]
            kept = range(len(shape), len(shape) + len(rest))
            found: NDArray[np.int64] = column.reshape(*shape, *rest).transpose(*places, *kept).reshape(self.size, *rest)
            return found

        return scores.each(turned)

    def worst_around(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """The largest value among each setting and those around it, float64[size].

        Around: up to a tenth of the steps of each axis away, one at least.
        """
        worst = values.reshape(self.shape)
        for axis, length in enumerate(self.shape):
            plain = np.moveaxis(worst, axis, 0)
            found = plain.copy()
            for away in range(1, min(max(1, round((length - 1) / 10)), length - 1) + 1):
                np.maximum(found[away:], plain[:-away], out=found[away:])
                np.maximum(found[:-away], plain[away:], out=found[:-away])
            worst = np.moveaxis(found, 0, axis)
        return np.ascontiguousarray(worst).reshape(-1)
