"""Which settings does no other one beat, and which of them would one take?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from demo_replay.tuning.scores import Scores
from rules.durations import DAY, MINUTE
from rules.showing import show_left


class Choice(NamedTuple):
    """The number of the recommended setting, and why in a sentence."""

    setting: int
    why: str


def costs(scores: Scores) -> NDArray[np.float64]:
    """What each setting costs, float64[n, k], less is better.

    With labels: missed events, false alarms, worst and median delay. Without: alarms a day, chattering, and the mean
    wait from condition to alarm.
    """
    if scores.delays.shape[1]:
        worst, median = scores.worst_delay(), scores.median_delay()
        return np.column_stack(
            (scores.missed, scores.false, np.nan_to_num(worst, nan=np.inf), np.nan_to_num(median, nan=np.inf))
        ).astype(float)
    waits = scores.waited / np.maximum(scores.alarms, 1)
    return np.column_stack((scores.alarms * (DAY / max(scores.span, 1)), scores.chattering, waits)).astype(float)


def unbeaten(table: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which rows no other row beats: none is as good everywhere and better somewhere (Pareto), bool[n]."""
    distinct, back = np.unique(table, axis=0, return_inverse=True)
    keep = np.ones(len(distinct), np.bool_)
    # Sorted by the first column: whatever beats a row stands before it.
    for index in range(len(distinct)):
        if keep[index]:
            as_good = (distinct <= distinct[index]).all(axis=1)
            as_good[index] = False
            keep[index] = not as_good.any()
    return keep[back.reshape(-1)]


def choose(scores: Scores, distance: NDArray[np.float64]) -> Choice:
    """The recommended setting.

    distance: float64[n], how far a setting lies from today's; among equals the nearest is taken, so that nothing is
    changed without a reason. With labels: fewest missed, then fewest false alarms, then the shortest worst delay (in
    whole minutes). Without: no chattering, at most one alarm a day where that is possible, then the shortest wait.
    """
    if scores.delays.shape[1]:
        minutes = np.ceil(np.nan_to_num(scores.worst_delay(), nan=np.inf) / MINUTE)
        best = int(np.lexsort((distance, minutes, scores.false, scores.missed))[0])
        events = scores.delays.shape[1]
        worst = scores.worst_delay()[best]
        delay = "" if np.isnan(worst) else f", the last one {show_left(max(int(worst), MINUTE))} after it began"
        caught = (
            f"catches {int(scores.caught[best])} of {events} labelled {'event' if events == 1 else 'events'}{delay}"
        )
        false = int(scores.false[best])
        return Choice(best, f"{caught}, with {false or 'no'} false {'alarm' if false == 1 else 'alarms'}")
    daily = scores.alarms * (DAY / max(scores.span, 1))
    waits = scores.waited / np.maximum(scores.alarms, 1)
    best = int(np.lexsort((distance, np.ceil(waits / MINUTE), np.maximum(daily, 1.0), scores.chattering))[0])
    wait = show_left(max(int(waits[best]), MINUTE)) if scores.alarms[best] else "no alarm at all"
    return Choice(
        best,
        f"gives {daily[best]:.2g} alarms a day without chattering, {wait} after the limit was passed; "
        "label what was real to weigh misses too",
    )
