"""Which settings does no other one beat, and which of them would one take?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from demo_replay.moments import show_span
from demo_replay.tuning.grid import Grid
from demo_replay.tuning.scores import Scores
from rules.durations import DAY, MINUTE

Floats = NDArray[np.float64]
_WORTH_IT = 0.1
"""What share of its delay, and at least a minute, a change must save to be worth it (common practice, no source)."""


class Choice(NamedTuple):
    """The number of the recommended setting, None: today's; and why, in a sentence."""

    setting: int | None
    why: str


def costs(scores: Scores) -> Floats:
    """What each setting costs, float64[n, 4], less is better.

    With labels: missed events, false alarms, worst and median delay. Without: alarms a day, episodes of chattering, and
    the mean wait from condition to alarm, infinite where there was none; the fourth is 0.
    """
    if scores.delays.shape[1]:
        worst, median = (np.nan_to_num(delay, nan=np.inf) for delay in (scores.worst_delay(), scores.median_delay()))
        return np.column_stack((scores.missed, scores.false, worst, median)).astype(np.float64)
    wait = np.nan_to_num(scores.mean_wait(), nan=np.inf)
    return np.column_stack((scores.told, scores.chattering, wait, np.zeros(len(wait)))).astype(np.float64)


def unbeaten(table: Floats) -> NDArray[np.bool_]:
    """Which rows no other row beats: none is as good everywhere and better somewhere (Pareto), bool[n]."""
    distinct, back = np.unique(table, axis=0, return_inverse=True)
    left = np.arange(len(distinct))
    keep = np.zeros(len(distinct), np.bool_)
    # Rows are sorted, so that the first of what is left is beaten by nothing in it.
    while len(left):
        first = left[0]
        keep[first] = True
        left = left[(distinct[left] < distinct[first]).any(axis=1)]
    return keep[back.reshape(-1)]


def choose(scores: Scores, grid: Grid, possible: NDArray[np.bool_], today: Scores | None) -> Choice:
    """The recommended setting, out of the possible ones, of which there must be one.

    With labels: fewest missed, then fewest false alarms, then the same of the worst setting around it (a tenth of each
    axis to either side; what warns too early is no danger there), then not at an end of what was tried, then the
    shortest worst delay in whole minutes. What does well at a brink only seldom does on other days. Without labels: no
    chattering, and at most one alarm a day (or in the recordings, where they are shorter) where that is possible. Among
    equals the nearest to today's is taken, and today's itself where nothing is better by what is worth a change, or
    nothing catches any event: nothing is changed without a reason.
    """
    labelled = scores.delays.shape[1] > 0
    ranks = _ranks(scores, grid, possible, labelled)
    candidates = np.flatnonzero(possible)
    order = np.lexsort((grid.distance()[candidates], *(rank[candidates] for rank in reversed(ranks))))
    best = int(candidates[order[0]])
    own = grid.number_of_today()
    if labelled and not scores.caught[candidates].any():
        return Choice(own, "no setting that was tried catches any of the labelled events; try others, or another side")
    if today is not None and (own is None or possible[own]):
        # What lies around a setting that was not tried is judged by the nearest one that was.
        near = grid.nearest_to_today() if own is None else own
        row = [float(rank[0]) for rank in _plain_ranks(today, labelled)]
        if labelled:
            row[2:2] = [float(rank[near]) for rank in ranks[2:4]] + [0.0]
        there = [float(rank[best]) for rank in ranks]
        same = row[:-1] == there[:-1] and not _is_sooner(scores.rows([best]), today) if labelled else row == there
        if row < there or same:
            return Choice(own, f"today's setting does as well as any: it {_told(today)}")
    chosen = scores.rows([best])
    why = f"it {_told(chosen)}"
    if labelled and (ranks[2][best] > ranks[0][best] or ranks[3][best] > ranks[1][best]):
        why += "; settings close to it do worse, so that it may on other days"
    elif labelled and ranks[0][best] == ranks[1][best] == 0:
        why += ", and so do the settings around it"
    return Choice(best, why + _instead(chosen, today, labelled))


def _is_sooner(one: Scores, today: Scores) -> bool:
    """Whether a setting (one row) is sooner than today's by so much that a change is worth it."""
    there, now = float(one.worst_delay()[0]), float(today.worst_delay()[0])
    # Where one of them catches nothing the delay is NaN, and no reason.
    return now - there >= max(MINUTE, _WORTH_IT * now)


def _ranks(scores: Scores, grid: Grid, possible: NDArray[np.bool_], labelled: bool) -> list[Floats]:
    ranks = _plain_ranks(scores, labelled)
    if labelled:
        # A neighbour that only warns too early is no danger.
        dangers = (scores.unseen, scores.false - scores.early)
        around = [grid.worst_around(np.where(possible, danger, 0).astype(np.float64)) for danger in dangers]
        ranks[2:2] = [*around, grid.ends()]
    return ranks


def _plain_ranks(scores: Scores, labelled: bool) -> list[Floats]:
    """What a setting is judged by alone: less is better, the first first."""
    if not labelled:
        return [scores.chattering.astype(np.float64), np.maximum(scores.a_day, max(1.0, DAY / max(scores.span, 1)))]
    minutes = np.ceil(np.nan_to_num(scores.worst_delay(), nan=np.inf) / MINUTE)
    return [scores.missed.astype(np.float64), scores.false.astype(np.float64), minutes]


def _told(one: Scores) -> str:
    """What a setting (one row) does: `catches 2 of 2 labelled events, at most 25 min late, with no false alarm`."""
    events = one.delays.shape[1]
    if not events:
        chatter = int(one.chattering[0])
        chattering = f", chatters {_counted(chatter, 'time')}" if chatter else " without chattering"
        wait = f", {show_span(round(float(one.mean_wait()[0])))} after its condition began" if one.alarms[0] else ""
        if not one.told[0]:
            return "tells nothing at all here, which is good only where nothing was wrong; labels would tell"
        alarms = _counted(f"{one.a_day[0]:.2g}", "alarm")
        return f"gives {alarms} a day{chattering}{wait}; labels would tell which of them were real"
    caught, false = int(one.caught[0]), int(one.false[0])
    worst = float(one.worst_delay()[0]) if caught else 0.0
    late = (
        (f", {'each ' if caught > 1 else ''}at most {show_span(round(worst))} late" if worst else ", at once")
        if caught
        else ""
    )
    return f"catches {caught} of {_counted(events, 'labelled event')}{late}, with {_counted(false, 'false alarm')}"


def _instead(chosen: Scores, today: Scores | None, labelled: bool) -> str:
    if today is None or not labelled:
        return ""
    missed, false = int(today.missed[0]), int(today.false[0])
    if missed > chosen.missed[0] or false != chosen.false[0]:
        return f"; today's setting misses {missed or 'none'}, with {_counted(false, 'false alarm')}"
    slower = float(today.worst_delay()[0] - chosen.worst_delay()[0]) if chosen.caught[0] and today.caught[0] else 0.0
    return f"; today's setting is {show_span(round(slower))} slower" if slower >= MINUTE else ""


def _counted(count: int | str, word: str) -> str:
    return f"{count or 'no'} {word}{'' if count in (0, 1, '1') else 's'}"
