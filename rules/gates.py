"""When does a rule's condition count at all? `while`, `during` and `since_note`: where a gate is shut it is false."""

from __future__ import annotations

import datetime as dt
from typing import Any, Protocol

import numpy as np

from rules.durations import DAY
from rules.edges import FALSE, TRUE, Edges, Judged, combine, normal
from rules.errors import SettingError
from rules.local_time import When, Zone, when
from rules.settings import RuleSettings
from rules.view import View


class Gate(Protocol):
    """Open (true) or shut (false) over time, never unknown."""

    def edges(self, view: View) -> Edges:
        """The edges of this step."""

    def next_due(self, after: int) -> int | None:
        """The next time (ms) later than `after` at which it may open or shut by itself."""

    def state(self) -> Any:
        """What must survive a restart."""

    def load(self, state: Any) -> None:
        """Take up what `state` gave."""


class While:
    """Open while another rule's condition is true."""

    def __init__(self, rule: str) -> None:
        self.rule = rule

    def edges(self, view: View) -> Edges:
        """The edges of this step."""
        return combine([view.conditions[self.rule]], lambda truths: TRUE if truths[0] == TRUE else FALSE)

    def next_due(self, after: int) -> int | None:
        """The other rule knows."""
        return None

    def state(self) -> None:
        """Nothing: the other rule knows."""

    def load(self, state: None) -> None:
        """Take up nothing."""


class DuringTime:
    """Open within local hours and a season."""

    def __init__(self, span: When, zone: Zone) -> None:
        self.span, self.zone = span, zone
        self.carry: int | None = None

    def _open(self, times: list[int]) -> list[int]:
        holds: list[int] = self.span.holds(np.array(times, np.int64), self.zone).astype(int).tolist()
        return holds

    def _boundaries(self, after: int, upto: int) -> list[int]:
        """Every time in (after, upto] at which local hours or a local day may begin or end, sorted."""
        first = self.zone.moment(after).date() - dt.timedelta(days=1)
        days = (upto - after) // DAY + 3
        offsets = {0, *(self.span.hours or ())}
        found: set[int] = set()
        for number in range(days):
            midnight = dt.datetime.combine(first + dt.timedelta(days=number), dt.time(), self.zone.info)
            for offset in offsets:
                local = midnight + dt.timedelta(milliseconds=offset)
                # Both readings of a repeated hour, and the moment at which the clocks change.
                found.update(round(local.replace(fold=fold).timestamp() * 1000) for fold in (0, 1))
            found.update(self.zone.changes(round(midnight.timestamp() * 1000)))
        return sorted(time for time in found if after < time <= upto)

    def edges(self, view: View) -> Edges:
        """The edges of this step."""
        first = self._open([view.before])[0] if self.carry is None else self.carry
        times = self._boundaries(view.before, view.upto >> 1)
        found = normal(first, [2 * time for time in times], self._open(times) if times else [])
        self.carry = found.last
        return found

    def next_due(self, after: int) -> int | None:
        """The next boundary."""
        return next(iter(self._boundaries(after, after + 2 * DAY)), None)

    def state(self) -> int | None:
        """Open or shut."""
        return self.carry

    def load(self, state: int | None) -> None:
        """Take up what `state` gave."""
        self.carry = state


class SinceNote:
    """Open for `within` ms after a log entry of a kind."""

    def __init__(self, kind: str, within: int) -> None:
        self.kind, self.within = kind, within
        self.until: int | None = None

    def edges(self, view: View) -> Edges:
        """The edges of this step."""
        first = FALSE if self.until is None else TRUE
        keys: list[int] = []
        truths: list[int] = []

        def end(before: int) -> None:
            if self.until is not None and 2 * self.until < before:
                keys.append(2 * self.until)
                truths.append(FALSE)
                self.until = None

        for time, kind in view.notes:
            if kind == self.kind:
                end(2 * time)
                keys.append(2 * time)
                truths.append(TRUE)
                self.until = time + self.within
        end(view.upto + 1)
        return normal(first, keys, truths)

    def next_due(self, after: int) -> int | None:
        """When it shuts."""
        return self.until

    def state(self) -> int | None:
        """When it shuts, ms."""
        return self.until

    def load(self, state: int | None) -> None:
        """Take up what `state` gave."""
        self.until = state


def gates(rule: RuleSettings, zone: Zone) -> list[Gate]:
    """The gates of a rule; raises SettingError for `since_note` without `within` and for hours that are none."""
    found: list[Gate] = []
    if rule.while_ is not None:
        found.append(While(rule.while_))
    if rule.during is not None:
        found.append(DuringTime(when(rule.during.hours, rule.during.season), zone))
    if rule.since_note is not None:
        if rule.within is None:
            raise SettingError(f'{rule.id}: since_note needs within, as in within = "1 h"')
        found.append(SinceNote(rule.since_note, rule.within))
    return found


def gated(judged: Judged, open_: list[Edges]) -> Judged:
    """A side behind gates: where one is shut the condition is false and its return true."""
    onset = combine([judged.onset, *open_], lambda t: t[0] if all(x == TRUE for x in t[1:]) else FALSE)
    clear = combine([judged.returns(), *open_], lambda t: t[0] if all(x == TRUE for x in t[1:]) else TRUE)
    return Judged(onset, clear)
