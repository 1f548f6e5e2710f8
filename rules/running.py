"""How much time has really been watched? Wall time less the spans in which the daemon did not run."""

from __future__ import annotations

from bisect import bisect_right

import numpy as np

from rules.block import Times

NEVER = 1 << 62
"""A time or key that does not come."""


class Running:
    """Maps wall time to running time. Delays and staleness count running time, so that an `off` span adds nothing."""

    def __init__(self, spans: list[tuple[int, int]] | None = None) -> None:
        self.spans: list[tuple[int, int]] = []
        for begin, end in spans or []:
            self.add(begin, end)

    def add(self, begin: int, end: int) -> None:
        """Note that nothing ran from `begin` to `end` (ms); overlapping or touching spans become one."""
        if end <= begin:
            return
        merged: list[tuple[int, int]] = []
        for a, b in sorted([*self.spans, (begin, end)]):
            if merged and a <= merged[-1][1]:
                merged[-1] = (merged[-1][0], max(b, merged[-1][1]))
            else:
                merged.append((a, b))
        self.spans = merged

    def due(self, start: int, length: int) -> int:
        """The earliest wall time at which `length` ms of running time have passed since `start`."""
        if not self.spans:
            return start + length
        at = start + length
        first = bisect_right(self.spans, start, key=lambda span: span[1])
        for begin, end in self.spans[first:]:
            if at <= begin or length == 0:
                break
            at += end - max(begin, start)
        return at

    def dues(self, starts: Times, length: int) -> Times:
        """`due` of every start, int64[n] in, int64[n] out."""
        if not self.spans:
            return starts + length
        if len(starts) and int(starts[-1]) + length <= self.spans[0][0]:
            return starts + length
        if len(starts) and int(starts[0]) >= self.spans[-1][1]:
            return starts + length
        return np.array([self.due(int(s), length) for s in starts], dtype=np.int64)
