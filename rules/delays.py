"""When does a condition become an alarm, and when is it over? After it held for its delay."""

from __future__ import annotations

from bisect import bisect_right
from typing import Any, NamedTuple

import numpy as np

from rules.edges import TRUE, UNKNOWN, Edges, Judged, listed
from rules.running import Running

IDLE, WAITING, ACTIVE, RETURNING = "idle", "waiting", "active", "returning"


class Change(NamedTuple):
    """The delayed condition became active or returned at `key`; `since`: when the condition became true (ms)."""

    key: int
    active: bool
    since: int


def due_key(start: int, delay: int, running: Running) -> int:
    """The key at which `delay` ms after the key `start` are over; without a delay that instant itself."""
    return start if delay == 0 else max(start, 2 * running.due(start >> 1, delay))


def enduring(edges: Edges, delay: int, running: Running) -> tuple[list[int], list[int]]:
    """Keys and truths of the edges, less the true spells that end before `delay` ms can be over."""
    keys, truths = edges.keys, edges.truths
    if isinstance(keys, list) or isinstance(truths, list):
        return listed(edges)
    if delay == 0 or running.spans:
        return keys.tolist(), truths.tolist()
    ends = np.append(keys[1:], np.iinfo(np.int64).max)
    short = (truths == TRUE) & (ends <= (keys & ~1) + 2 * delay)
    kept = ~short
    kept[1:] &= ~short[:-1]
    return keys[kept].tolist(), truths[kept].tolist()


class Delayed:
    """The state machine idle -> waiting -> active -> returning of one side of one rule."""

    def __init__(self, on_delay: int, off_delay: int) -> None:
        self.on_delay, self.off_delay = on_delay, off_delay
        self.mode = IDLE
        self.start = 0
        """Key at which the present waiting began."""
        self.since = 0
        """Time at which the condition of the present alarm became true, ms."""
        self.onset_truth = UNKNOWN
        self.clear_truth = UNKNOWN

    def begin(self, judged: Judged, key: int) -> None:
        """At the rule's first instant: what is true then has been so since then."""
        self.onset_truth, self.start = judged.onset.first, key

    @property
    def active(self) -> bool:
        """Whether the delayed condition is active."""
        return self.mode in (ACTIVE, RETURNING)

    def advance(self, judged: Judged, upto: int, running: Running) -> list[Change]:
        """The changes up to and including the key `upto`, given the edges of this step."""
        onset = judged.onset
        if self.mode == IDLE and self.onset_truth != TRUE and not len(onset.keys):
            return []
        ok, ot = enduring(onset, self.on_delay, running)
        ck, ct = self._returns(judged, running) if self.active else ([], [])
        asked = self.active
        changes: list[Change] = []
        i = j = 0
        while True:
            if self.mode == IDLE:
                while self.onset_truth != TRUE and i < len(ok):
                    self.onset_truth, self.start = ot[i], ok[i]
                    i += 1
                if self.onset_truth != TRUE:
                    break
                self.mode = WAITING
            if self.mode == WAITING:
                due = due_key(self.start, self.on_delay, running)
                if i < len(ok) and ok[i] <= due:
                    self.onset_truth, self.start = ot[i], ok[i]
                    i += 1
                    self.mode = IDLE
                    continue
                if due > upto:
                    break
                self.mode, self.since = ACTIVE, self.start >> 1
                changes.append(Change(due, True, self.since))
                if not asked:
                    # Only now is there something that can return.
                    ck, ct, asked = *self._returns(judged, running), True
                at = bisect_right(ck, due, j)
                if at > j:
                    self.clear_truth, j = ct[at - 1], at
                self.start = due
            if self.mode == ACTIVE:
                while self.clear_truth != TRUE and j < len(ck):
                    self.clear_truth, self.start = ct[j], ck[j]
                    j += 1
                if self.clear_truth != TRUE:
                    break
                self.mode = RETURNING
            due = due_key(self.start, self.off_delay, running)
            if j < len(ck) and ck[j] <= due:
                self.clear_truth, self.start = ct[j], ck[j]
                j += 1
                self.mode = ACTIVE
                continue
            if due > upto:
                break
            self.mode = IDLE
            changes.append(Change(due, False, self.since))
            at = bisect_right(ok, due, i)
            if at > i:
                self.onset_truth, i = ot[at - 1], at
            self.start = due
        self.onset_truth = onset.last if len(onset.keys) else self.onset_truth
        return changes

    def _returns(self, judged: Judged, running: Running) -> tuple[list[int], list[int]]:
        """Keys and truths of the return condition; its truth before them is noted."""
        clear = judged.returns()
        self.clear_truth = clear.first
        return enduring(clear, self.off_delay, running)

    def next_due(self, running: Running) -> int | None:
        """The time (ms) at which the present waiting ends, or None."""
        if self.mode == WAITING:
            return due_key(self.start, self.on_delay, running) >> 1
        if self.mode == RETURNING:
            return due_key(self.start, self.off_delay, running) >> 1
        return None

    def state(self) -> list[Any]:
        """What must survive a restart."""
        return [self.mode, self.start, self.since, self.onset_truth, self.clear_truth]

    def load(self, state: list[Any]) -> None:
        """Take up what `state` gave."""
        self.mode, self.start, self.since, self.onset_truth, self.clear_truth = state
