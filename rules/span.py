"""What did one point say in one step?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from rules.block import Counts, Flags, Times
from rules.edges import UNKNOWN, Edges, in_columns, normal
from rules.flags import Flag
from rules.windows import Positions, Slopes, first_at_or_after, ranges, slopes
from rules.zones import Selection, Windows, Zones, select, windows

Found = TypeVar("Found")
TruthsAt = Callable[[Positions], NDArray[Any]]
ALL = slice(None)

_FIRST = np.zeros(1, np.intp)


@dataclass
class Span:
    """The usable readings of one point in one step, and where its hold broke.

    t, v: int64[n] time (ms) and counts; tail_t, tail_v: usable readings before them in the same unbroken run, as
    far back as any window reaches; run_start: time of the first usable reading of that run, None where the point
    was unknown. restarts: positions in t at which a new run begins. stale: keys at which the point becomes unknown.
    """

    point: str
    t: Times
    v: Counts
    tail_t: Times
    tail_v: Counts
    run_start: int | None
    restarts: Positions
    stale: list[int]
    silent: Edges
    f: Flags
    """uint8[n]: the flags of the readings."""
    own: Times
    """int64[n]: the own times of the readings. One that came late is heard later, at `t`; windows, limits
    of the hour and periods go by its own time."""
    before: int | None = None
    """Counts held before the step, known or not."""
    before_flag: int = Flag.NOT_EVALUATED
    _cache: dict[str, Any] = field(default_factory=dict)

    @property
    def quiet(self) -> bool:
        """Nothing happened in this step."""
        return not len(self.t) and not self.stale

    @property
    def idle(self) -> bool:
        """Nothing happened, and the point did not fall silent unheard either."""
        return self.quiet and not len(self.silent.keys)

    def edges(self, carry: int, changes: Positions, at: TruthsAt) -> Edges:
        """Edges of a statement judged at readings and held between them.

        carry: its truth before the step; changes: sorted positions i >= 1 at which it differs from i - 1; at: gives
        int8 or bool at positions.
        """
        if self.quiet:
            return Edges(carry, [], [])
        if not len(self.t):
            return normal(carry, self.stale, [UNKNOWN] * len(self.stale))
        where = np.concatenate((_FIRST, changes))
        if len(self.restarts) and (len(self.restarts) > 1 or self.restarts[0]):
            where = np.sort(np.concatenate((where, self.restarts)), kind="stable")
        keys = 2 * self.t[where]
        found = at(where).astype(np.int8)
        if self.stale:
            keys = np.concatenate((keys, np.array(self.stale, np.int64)))
            found = np.concatenate((found, np.full(len(self.stale), UNKNOWN, np.int8)))
            order = np.argsort(keys, kind="stable")
            keys, found = keys[order], found[order]
        return in_columns(carry, keys, found)

    def edge(self, carry: int, truth: int) -> Edges:
        """As `edges`, for a step with one reading and no end of a hold: what a live step mostly is."""
        return Edges(carry, [], []) if truth == carry else Edges(carry, [2 * int(self.t[0])], [truth])

    @cached_property
    def joined(self) -> tuple[Times, Counts]:
        """The readings at hand, those before the step and the new ones: own times and counts."""
        if not len(self.tail_t):
            return self.own, self.v
        return np.concatenate((self.tail_t, self.own)), np.concatenate((self.tail_v, self.v))

    def runs(self, part: slice = ALL) -> tuple[Positions, Times]:
        """For each new reading of `part` the position among those `joined` of the earliest of its run that is at
        hand, and the time at which its run began."""
        start, stop, _ = part.indices(len(self.t))
        # The run that goes on at `start`, and those that begin after it.
        old, new = np.searchsorted(self.restarts, (start, stop - 1), side="right").tolist()
        later = self.restarts[old:new]
        many = np.diff(np.concatenate(([start], later, [stop])))
        at = int(self.restarts[old - 1]) if old else None
        first = 0 if at is None else at + len(self.tail_t)
        began = (self.run_start or 0) if at is None else int(self.own[at])
        firsts = np.concatenate((np.array([first], np.intp), later + len(self.tail_t)))
        return np.repeat(firsts, many), np.repeat(np.concatenate(([began], self.own[later])), many)

    def zones(self, width: int) -> Zones:
        """The zones of the new readings."""
        return self._once(f"zones {width}", lambda: Zones(self.own, self.v, width))

    def windows(self, length: int, width: int) -> Windows:
        """What zones of the new readings tell of windows of `length` ms."""
        found = self.zones(width)
        return self._once(f"windows {length} {width}", lambda: windows(found, length, self.restarts))

    def selected(self, length: int, width: int, chosen: NDArray[np.bool_]) -> tuple[Selection, Span]:
        """The readings of some zones as a span of its own, with all that their windows of `length` ms need."""

        def find() -> tuple[Selection, Span]:
            found = select(self.zones(width), chosen, self.windows(length, width).first)
            place = np.searchsorted(found.at, self.restarts)
            there = found.at[np.minimum(place, len(found.at) - 1)] == self.restarts
            restarts = np.union1d(found.joins, place[there])
            return found, replace(
                self, t=self.t[found.at], own=self.own[found.at], v=self.v[found.at], restarts=restarts, _cache={}
            )

        # Statements of one window often doubt the same zones.
        return self._once(f"selected {length} {width} {chosen.tobytes()!r}", find)

    def window(self, length: int, part: slice = ALL) -> Positions:
        """For each new reading of `part` the position, among those `joined`, of the first reading in
        `[t - length, t]` of its run."""
        start, stop, _ = part.indices(len(self.t))

        def find() -> Positions:
            before = len(self.tail_t)
            own = np.arange(before + start, before + stop)
            least = self.runs(part)[0] if len(self.restarts) else 0
            return first_at_or_after(self.joined[0], self.own[start:stop] - length, own, least)

        return self._once(f"window {length} {start} {stop}", find)

    def slopes(self, length: int, part: slice = ALL) -> Slopes:
        """The least-squares slope over its window, for each new reading of `part`."""
        start, stop, _ = part.indices(len(self.t))
        begin = len(self.tail_t) + start
        return self._once(
            f"slopes {length} {start} {stop}", lambda: slopes(*self.joined, self.window(length, part), begin)
        )

    def enough(self, length: int, readings: int, span: int, part: slice = ALL) -> NDArray[np.bool_]:
        """For each new reading of `part`: whether its window holds so many readings that span so many ms."""
        start, stop, _ = part.indices(len(self.t))
        low = self.window(length, part)
        begin = len(self.tail_t) + start
        count = np.arange(begin + 1, begin + 1 + stop - start) - low
        long: NDArray[np.bool_] = self.own[start:stop] - self.joined[0].take(low) >= span
        return (count >= readings) & long

    def movement(self, length: int, part: slice = ALL) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """For each new reading of `part`: max - min over its window, and whether its run reaches back that far."""
        start, stop, _ = part.indices(len(self.t))

        def find() -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
            moved = ranges(self.joined[1], self.window(length, part), len(self.tail_t) + start)
            return moved, self.own[start:stop] - self.runs(part)[1] >= length

        return self._once(f"movement {length} {start} {stop}", find)

    def _once(self, name: str, find: Callable[[], Found]) -> Found:
        if name not in self._cache:
            self._cache[name] = find()
        found: Found = self._cache[name]
        return found
