"""How good was each setting? Alarms, time in alarm, chattering, and what was caught, missed or false against labels."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from demo_replay.labels import Label
from demo_replay.tuning.spells import Spells
from rules.durations import DAY, HOUR

CHATTER_COUNT, CHATTER_SPAN = 3, 60_000
"""Chattering: 3 or more activations in one minute (ANSI/ISA-18.2-2016, as restated in the trade's texts)."""
EARLY = HOUR
"""How long before a labelled event an alarm may come and still count as its warning (common practice, no source)."""
MISSED = -1
"""Stands for the delay of a labelled event during which no alarm stood."""
TOO_EARLY = -2
"""Stands for the delay of an event whose only alarm had stood for so long that it told nobody of it."""

Ints = NDArray[np.int64]


class Measure(NamedTuple):
    """Against what the settings of a rule are scored over one recording. Times in ms UTC.

    labels: its true events; early: how long before an event an alarm counts as its warning; begin, end: what was
    judged; explained: (begin, end) of the spans in which other rules account for its alarms, sorted, apart from each
    other, OPEN where one lasts past the end.
    """

    labels: tuple[Label, ...]
    early: int
    begin: int
    end: int
    explained: tuple[tuple[int, int], ...] = ()


class Scores(NamedTuple):
    """One row a setting.

    alarms, explained, chattering, false, early: int64[n] counts. explained: those of `alarms` that another rule
    accounts for all the while; early: those of `false` that stood when an event came but were not its warning.
    in_alarm: int64[n] ms; waited: int64[n] sum over alarms of raised - since, ms; delays: int64[n, labels] ms from a
    label's start to the alarm, 0 where it stood already, MISSED or TOO_EARLY where the event was not caught; span: ms
    that were looked at.
    """

    alarms: Ints
    explained: Ints
    in_alarm: Ints
    waited: Ints
    chattering: Ints
    false: Ints
    early: Ints
    delays: Ints
    span: int

    def each(self, change: Callable[[Ints], Ints]) -> Scores:
        """Every column changed alike along its first axis: rows chosen, or put into another order."""
        return Scores(
            change(self.alarms),
            change(self.explained),
            change(self.in_alarm),
            change(self.waited),
            change(self.chattering),
            change(self.false),
            change(self.early),
            change(self.delays),
            self.span,
        )

    def rows(self, settings: Sequence[int] | NDArray[np.intp]) -> Scores:
        """The scores of some settings, in their order."""
        return self.each(lambda column: column[np.asarray(settings, np.intp)])

    @property
    def told(self) -> Ints:
        """Alarms that no other rule accounted for, int64[n]."""
        return self.alarms - self.explained

    @property
    def a_day(self) -> NDArray[np.float64]:
        """Alarms a day that no other rule accounted for, float64[n]."""
        return self.told.astype(np.float64) * (DAY / max(self.span, 1))

    @property
    def caught(self) -> Ints:
        """How many labelled events were caught, int64[n]."""
        found: Ints = (self.delays >= 0).sum(axis=1)
        return found

    @property
    def unseen(self) -> Ints:
        """How many labelled events passed without any alarm, int64[n]."""
        found: Ints = (self.delays == MISSED).sum(axis=1)
        return found

    @property
    def missed(self) -> Ints:
        """How many labelled events were missed, int64[n]."""
        found: Ints = (self.delays < 0).sum(axis=1)
        return found

    def median_delay(self) -> NDArray[np.float64]:
        """Median delay of what was caught, ms, float64[n]; NaN where nothing was."""
        return _over_caught(self.delays, lambda known: np.nanmedian(known, axis=1))

    def worst_delay(self) -> NDArray[np.float64]:
        """Longest delay of what was caught, ms, float64[n]; NaN where nothing was."""
        return _over_caught(self.delays, lambda known: np.nanmax(known, axis=1))

    def mean_wait(self) -> NDArray[np.float64]:
        """Mean time from condition to alarm, ms, float64[n]; NaN where there was no alarm."""
        return np.where(self.alarms > 0, self.waited / np.maximum(self.alarms, 1), np.nan)


def _over_caught(delays: Ints, over: Callable[[NDArray[np.float64]], NDArray[np.float64]]) -> NDArray[np.float64]:
    result = np.full(len(delays), np.nan)
    some = (delays >= 0).any(axis=1)
    if some.any():
        result[some] = over(np.where(delays[some] < 0, np.nan, delays[some]))
    return result


def score(spells: Spells, settings: int, measure: Measure) -> Scores:
    """The scores of `settings` settings over a recording.

    An event is caught by an alarm that is raised within it, or at most `measure.early` before it and still stands when
    it begins: an alarm that has stood for longer tells nobody of the event. An alarm is false where it catches no
    event and no other rule accounts for it.
    """
    which, since, raised, returned = spells
    borders = np.searchsorted(which, np.arange(settings + 1))

    def sums(values: NDArray[np.int64] | NDArray[np.bool_]) -> Ints:
        """Of each setting, exactly (bincount's weights are floats)."""
        total = np.zeros(len(values) + 1, np.int64)
        np.cumsum(values, out=total[1:])
        found: Ints = np.diff(total[borders])
        return found

    false, early = np.ones(len(which), np.bool_), np.zeros(len(which), np.bool_)
    delays = np.full((settings, len(measure.labels)), MISSED, np.int64)
    for number, label in enumerate(measure.labels):
        meeting = np.flatnonzero((raised <= label.end_ms) & (returned > label.start_ms))
        in_time = raised[meeting] >= label.start_ms - measure.early
        stale, catching = meeting[~in_time], meeting[in_time]
        early[stale] = True
        delays[which[stale], number] = TOO_EARLY
        false[catching] = False
        mine = which[catching]
        first = np.flatnonzero(np.diff(mine, prepend=-1))
        delays[mine[first], number] = np.maximum(raised[catching[first]] - label.start_ms, 0)
    early &= false
    explained = _explained(raised, returned, measure.explained)
    if explained is not None:
        false &= ~explained
        early &= ~explained
    return Scores(
        np.diff(borders),
        np.zeros(settings, np.int64) if explained is None else sums(explained),
        sums(np.minimum(returned, measure.end) - raised),
        sums(raised - since),
        _chattering(spells, settings),
        sums(false),
        sums(early),
        delays,
        measure.end - measure.begin,
    )


def _explained(raised: Ints, returned: Ints, spans: Sequence[tuple[int, int]]) -> NDArray[np.bool_] | None:
    """Which alarms stood within such a span all the while; None where there is no span."""
    if not spans:
        return None
    begins, ends = np.array(spans, np.int64).T
    at = np.searchsorted(begins, raised, side="right") - 1
    found: NDArray[np.bool_] = (at >= 0) & (returned <= ends[at])
    return found


def _chattering(spells: Spells, settings: int) -> Ints:
    """Episodes of chattering: unbroken stretches in which every activation belongs to three in a minute."""
    last = CHATTER_COUNT - 1
    which, raised = spells.setting, spells.raised
    if len(which) <= last:
        return np.zeros(settings, np.int64)
    close = raised[last:] - raised[:-last] <= CHATTER_SPAN
    at = np.flatnonzero(close)
    at = at[which[at + last] == which[at]]
    begins = np.ones(len(at), np.bool_)
    begins[1:] = (np.diff(at) > 1) | (which[at[1:]] != which[at[:-1]])
    return np.bincount(which[at[begins]], minlength=settings)


def together(parts: Sequence[Scores]) -> Scores:
    """Scores of the same settings over several recordings."""
    first, *others = parts
    for part in others:
        first = Scores(
            first.alarms + part.alarms,
            first.explained + part.explained,
            first.in_alarm + part.in_alarm,
            first.waited + part.waited,
            first.chattering + part.chattering,
            first.false + part.false,
            first.early + part.early,
            np.concatenate((first.delays, part.delays), axis=1),
            first.span + part.span,
        )
    return first


def one_after_another(parts: Sequence[Scores]) -> Scores:
    """Scores of different settings over the same recording, as one table."""
    columns = [np.concatenate(column) for column in zip(*(part[:-1] for part in parts), strict=True)]
    alarms, explained, in_alarm, waited, chattering, false, early, delays = columns
    return Scores(alarms, explained, in_alarm, waited, chattering, false, early, delays, parts[0].span)
