"""How many alarms can one person take? Floods, chattering, rates and priority mix (ANSI/ISA-18.2-2016, IEC 62682)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from rules.durations import DAY, MINUTE

BIN = 10 * MINUTE
"""The standard counts new alarms in periods of 10 min (ms)."""
FLOOD_BEGINS_OVER = 10
"""A flood begins with a period of more new alarms than this."""
FLOOD_ENDS_UNDER = 5
"""It ends with a period of fewer new alarms than this."""
CHATTERING = 3
"""So many activations of one alarm..."""
CHATTERING_WITHIN = MINUTE
"""...within this time (ms) are chattering."""
STALE = DAY
"""An alarm that stands for longer than this (ms) is stale."""


class Rates(NamedTuple):
    """New alarms of one person by periods of 10 min, Table 5 of ANSI/ISA-18.2-2016."""

    periods: int
    over: int
    """Periods with more than `FLOOD_BEGINS_OVER` new alarms."""
    flooded: int
    """Periods within floods."""
    mean: float
    peak: int

    @property
    def share_over(self) -> float:
        """0..1; the standard aims at under 0.01."""
        return self.over / self.periods if self.periods else 0.0

    @property
    def share_flooded(self) -> float:
        """0..1; the standard aims at under 0.01."""
        return self.flooded / self.periods if self.periods else 0.0


def counts_by_period(times: Iterable[int], start: int, end: int, length: int = BIN) -> list[int]:
    """New alarms in each period `[start + i length, start + (i + 1) length)`; the last may be cut short by `end`.

    times, start, end, length: ms; what lies outside [start, end) is left out.
    """
    counts = [0] * -(-(end - start) // length) if end > start else []
    for time in times:
        if start <= time < end:
            counts[(time - start) // length] += 1
    return counts


def floods(
    counts: Sequence[int], begins_over: int = FLOOD_BEGINS_OVER, ends_under: int = FLOOD_ENDS_UNDER
) -> list[tuple[int, int]]:
    """(first, end) of each flood, the end exclusive, from the new alarms of each period."""
    found: list[tuple[int, int]] = []
    begun: int | None = None
    for index, count in enumerate(counts):
        if begun is None and count > begins_over:
            begun = index
        elif begun is not None and count < ends_under:
            found.append((begun, index))
            begun = None
    return found if begun is None else [*found, (begun, len(counts))]


def rates(counts: Sequence[int]) -> Rates:
    """The standard's rates from the new alarms of each period."""
    flooded = sum(end - first for first, end in floods(counts))
    over = sum(count > FLOOD_BEGINS_OVER for count in counts)
    mean = sum(counts) / len(counts) if counts else 0.0
    return Rates(len(counts), over, flooded, mean, max(counts, default=0))


def is_chattering(times: Sequence[int], count: int = CHATTERING, within: int = CHATTERING_WITHIN) -> bool:
    """Whether the last `count` of sorted activation times (ms) lie within `within` ms."""
    return len(times) >= count and times[-1] - times[-count] <= within


def first_chattering(times: Sequence[int], count: int = CHATTERING, within: int = CHATTERING_WITHIN) -> int | None:
    """Position of the activation at which an alarm is first chattering; None where it never is."""
    return next((i for i in range(len(times)) if is_chattering(times[: i + 1], count, within)), None)


def chattering_alarms(
    times: Mapping[str, Sequence[int]], count: int = CHATTERING, within: int = CHATTERING_WITHIN
) -> list[str]:
    """The alarms (by whatever names) that chattered, from their sorted activation times; the standard aims at none."""
    return [name for name, own in times.items() if first_chattering(own, count, within) is not None]


def most_frequent(names: Iterable[str], most: int = 10) -> list[tuple[str, int, float]]:
    """(alarm, activations, share of all) of the most frequent; the standard expects 1 to 5 % of each of the ten."""
    counted = Counter(names)
    total = sum(counted.values())
    ranked = sorted(counted.items(), key=lambda item: (-item[1], item[0]))[:most]
    return [(name, number, number / total) for name, number in ranked]


def priority_mix(priorities: Iterable[str]) -> dict[str, float]:
    """priority -> share of all; the standard has in mind about 80 % low, 15 % medium, 5 % high and above."""
    counted = Counter(priorities)
    total = sum(counted.values())
    return {name: number / total for name, number in counted.items()}


def stale_alarms(spans: Iterable[tuple[str, int, int]], longer_than: int = STALE) -> list[tuple[str, int]]:
    """(alarm, how long it stood) of those whose span (alarm, raised, ended; ms) is longer, longest first."""
    found = [(name, ended - raised) for name, raised, ended in spans if ended - raised > longer_than]
    return sorted(found, key=lambda item: (-item[1], item[0]))
