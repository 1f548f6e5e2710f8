"""When does a statement become true, false or unknown? Edges, and how edges of several statements combine.

An instant is a key: `2 * time` for what readings and acts change, `2 * time + 1` for what staleness changes after
them. So "readings, then delays, then staleness" of one instant is plain order of keys.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

FALSE, TRUE, UNKNOWN = 0, 1, 2
_MANY = 64
"""Edges; more stay in columns."""


class Edges(NamedTuple):
    """A truth over time: `first` holds until keys[0], then truths[i] from keys[i] on. Neighbours differ.

    Few edges come as lists, many as columns (int64[n], int8[n]); `listed` gives lists of either.
    """

    first: int
    keys: list[int] | NDArray[np.int64]
    truths: list[int] | NDArray[np.int8]

    @property
    def last(self) -> int:
        """The truth after the last edge."""
        return int(self.truths[-1]) if len(self.truths) else self.first


def listed(edges: Edges) -> tuple[list[int], list[int]]:
    """Keys and truths as lists."""
    keys, truths = edges.keys, edges.truths
    return (
        keys if isinstance(keys, list) else keys.tolist(),
        truths if isinstance(truths, list) else truths.tolist(),
    )


class Later(Protocol):
    """Edges that are found only where somebody asks: a return is of no interest while there is nothing to return."""

    def edges(self) -> Edges:
        """Find them; asked again, the same."""

    def settle(self) -> None:
        """The step ends: remember the last truth, found or not."""


class Judged(NamedTuple):
    """One side of a condition: when it is true, and when its return condition is."""

    onset: Edges
    clear: Edges | Later

    def returns(self) -> Edges:
        """The edges of the return condition."""
        return self.clear if isinstance(self.clear, Edges) else self.clear.edges()


def steady(truth: int) -> Edges:
    """A truth that does not change."""
    return Edges(truth, [], [])


def normal(first: int, keys: Sequence[int], truths: Sequence[int]) -> Edges:
    """Edges from changes sorted by key, of which the last of each key counts and repeats are dropped."""
    out_keys: list[int] = []
    out_truths: list[int] = []
    last = first
    count = len(keys)
    for index in range(count):
        if index + 1 < count and keys[index + 1] == keys[index]:
            continue
        if truths[index] != last:
            last = truths[index]
            out_keys.append(keys[index])
            out_truths.append(last)
    return Edges(first, out_keys, out_truths)


def in_columns(first: int, keys: NDArray[np.int64], truths: NDArray[np.int8]) -> Edges:
    """Edges from truths at sorted, distinct keys, of which those that change nothing are dropped."""
    if len(keys) <= _MANY:
        return normal(first, keys.tolist(), truths.tolist())
    differs = np.empty(len(keys), np.bool_)
    differs[0] = truths[0] != first
    np.not_equal(truths[1:], truths[:-1], out=differs[1:])
    keys, truths = keys[differs], truths[differs]
    return Edges(first, keys.tolist(), truths.tolist()) if len(keys) <= _MANY else Edges(first, keys, truths)


def combine(parts: Sequence[Edges], judge: Callable[[Sequence[int]], int], first: int | None = None) -> Edges:
    """The truth `judge(truths of the parts)` over time. `first`: what held before, where it is known."""
    now = [part.first for part in parts]
    before = judge(now) if first is None else first
    changes = sorted(
        (key, index, truth) for index, part in enumerate(parts) for key, truth in zip(*listed(part), strict=True)
    )
    keys: list[int] = []
    truths: list[int] = []
    for position, (key, index, truth) in enumerate(changes):
        now[index] = truth
        if position + 1 < len(changes) and changes[position + 1][0] == key:
            continue
        keys.append(key)
        truths.append(judge(now))
    return normal(before, keys, truths)


def negated(edges: Edges) -> Edges:
    """Kleene's not: true and false change places, unknown stays."""
    swap = (TRUE, FALSE, UNKNOWN)
    if isinstance(edges.truths, list):
        return Edges(swap[edges.first], edges.keys, [swap[truth] for truth in edges.truths])
    return Edges(swap[edges.first], edges.keys, np.array(swap, np.int8)[edges.truths])


def truth_at(edges: Edges, key: int) -> int:
    """The truth at `key`, edges at it included."""
    index = bisect_right(edges.keys, key)
    return int(edges.truths[index - 1]) if index else edges.first
