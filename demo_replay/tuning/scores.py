"""How good was each setting? Alarms, time in alarm, chattering, and what was caught, missed or false against labels."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from demo_replay.labels import Label
from demo_replay.tuning.spells import Spells

CHATTER_COUNT, CHATTER_SPAN = 3, 60_000
"""Chattering: 3 or more activations in one minute (ANSI/ISA-18.2-2016, as restated in the trade's texts)."""
MISSED = -1
"""Stands for the delay of a labelled event that was not caught."""


class Scores(NamedTuple):
    """One row a setting.

    alarms, chattering, false: int64[n] counts; in_alarm: int64[n] ms; waited: int64[n] sum over alarms of raised -
    since, ms; delays: int64[n, labels] ms from a label's start to the alarm, 0 where it stood already, MISSED where it
    was not caught; span: ms that were looked at.
    """

    alarms: NDArray[np.int64]
    in_alarm: NDArray[np.int64]
    waited: NDArray[np.int64]
    chattering: NDArray[np.int64]
    false: NDArray[np.int64]
    delays: NDArray[np.int64]
    span: int

    @property
    def caught(self) -> NDArray[np.int64]:
        """How many labelled events were caught, int64[n]."""
        found: NDArray[np.int64] = (self.delays != MISSED).sum(axis=1)
        return found

    @property
    def missed(self) -> NDArray[np.int64]:
        """How many labelled events were missed, int64[n]."""
        found: NDArray[np.int64] = (self.delays == MISSED).sum(axis=1)
        return found

    def median_delay(self) -> NDArray[np.float64]:
        """Median delay of what was caught, ms; NaN where nothing was."""
        return _over_caught(self.delays, lambda known: np.nanmedian(known, axis=1))

    def worst_delay(self) -> NDArray[np.float64]:
        """Longest delay of what was caught, ms; NaN where nothing was."""
        return _over_caught(self.delays, lambda known: np.nanmax(known, axis=1))


def _over_caught(
    delays: NDArray[np.int64], over: Callable[[NDArray[np.float64]], NDArray[np.float64]]
) -> NDArray[np.float64]:
    result = np.full(len(delays), np.nan)
    some = (delays != MISSED).any(axis=1)
    if some.any():
        known = np.where(delays[some] == MISSED, np.nan, delays[some])
        result[some] = over(known)
    return result


def score(spells: Spells, settings: int, labels: Sequence[Label], begin: int, end: int) -> Scores:
    """The scores of `settings` settings over a recording that lasts from `begin` to `end`, ms.

    A labelled event is caught by an alarm that stands at some instant of it. An alarm is false where it meets no label.
    """
    which = spells.setting
    returned = np.minimum(spells.returned, end)
    alarms = np.bincount(which, minlength=settings)
    meets = np.zeros(len(which), np.bool_)
    delays = np.full((settings, len(labels)), MISSED, np.int64)
    for number, label in enumerate(labels):
        touching = np.flatnonzero((spells.raised <= label.end_ms) & (spells.returned > label.start_ms))
        meets[touching] = True
        rows, first = np.unique(which[touching], return_index=True)
        delays[rows, number] = np.maximum(spells.raised[touching[first]] - label.start_ms, 0)
    return Scores(
        alarms,
        _sums(which, returned - spells.raised, settings),
        _sums(which, spells.raised - spells.since, settings),
        _chattering(spells, settings),
        np.bincount(which[~meets], minlength=settings),
        delays,
        end - begin,
    )


def _sums(which: NDArray[np.int64], values: NDArray[np.int64], settings: int) -> NDArray[np.int64]:
    """Exact sums of whole numbers a setting (bincount's weights are floats)."""
    total = np.concatenate((np.zeros(1, np.int64), np.cumsum(values)))
    borders = np.searchsorted(which, np.arange(settings + 1))
    sums: NDArray[np.int64] = total[borders[1:]] - total[borders[:-1]]
    return sums


def _chattering(spells: Spells, settings: int) -> NDArray[np.int64]:
    """Episodes of chattering: unbroken stretches in which every activation belongs to three in a minute."""
    last = CHATTER_COUNT - 1
    n = len(spells.setting)
    if n <= last:
        return np.zeros(settings, np.int64)
    close = (spells.setting[last:] == spells.setting[:-last]) & (
        spells.raised[last:] - spells.raised[:-last] <= CHATTER_SPAN
    )
    begins = close.copy()
    begins[1:] &= ~(close[:-1] & (spells.setting[last:][1:] == spells.setting[last:][:-1]))
    return np.bincount(spells.setting[last:][begins], minlength=settings)


def together(parts: Sequence[Scores]) -> Scores:
    """Scores of the same settings over several recordings."""
    return Scores(
        np.sum([part.alarms for part in parts], axis=0),
        np.sum([part.in_alarm for part in parts], axis=0),
        np.sum([part.waited for part in parts], axis=0),
        np.sum([part.chattering for part in parts], axis=0),
        np.sum([part.false for part in parts], axis=0),
        np.concatenate([part.delays for part in parts], axis=1),
        sum(part.span for part in parts),
    )
