"""Which of many settings of a rule does best on recorded spans, and how does today's do?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from demo_replay.tuning.band_sweep import BandGrid
from demo_replay.tuning.choosing import Choice, choose, costs, unbeaten
from demo_replay.tuning.fleet import Run, Unit, here
from demo_replay.tuning.grid import Grid
from demo_replay.tuning.scores import Scores, one_after_another, together
from demo_replay.tuning.units import BandPart, Case, EnginePart, Part
from rules.acts import ActKind
from rules.conditions.band import BandSettings
from rules.errors import SettingError
from rules.plan import PointPlan
from rules.settings import RuleSettings
from rules.units import parse_amount

FAST_KEYS = ("high", "low", "deadband", "on_delay", "off_delay")
MOST_AT_ONCE = 400
"""Variants that one engine judges side by side."""

Variants = Callable[[Grid], list[RuleSettings | None]]
"""The rule under each setting of a grid; None where a site file with it would be refused."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One side of a rule under many settings."""

    rule: RuleSettings
    side: str
    grid: Grid


@dataclass(frozen=True, slots=True)
class Tuned:
    """What a sweep found. Rows of `scores` and of what follows are settings of the grid.

    costs: float64[n, 4], see `choosing.costs`; possible: bool[n], which settings a site file may have; unbeaten:
    bool[n], which of them no other beats; today: the scores of today's setting (one row), None where the rule lacks
    one; beats_today: how many possible settings are as good in everything and better in something.
    """

    trial: Trial
    cases: tuple[Case, ...]
    scores: Scores
    costs: NDArray[np.float64]
    possible: NDArray[np.bool_]
    unbeaten: NDArray[np.bool_]
    today: Scores | None
    beats_today: int
    choice: Choice


def tune(
    trial: Trial,
    cases: Sequence[Case],
    variants: Variants,
    *,
    parts: int = 1,
    run: Run = here,
    progress: Callable[[int, int], None] | None = None,
) -> Tuned:
    """Score every setting on every case and choose.

    parts: into how many pieces the settings are cut; run: who does them. Raises SettingError where a site file could
    have none of the settings.
    """
    grid = trial.grid
    whole, order, possible = _whole(trial, grid, cases, variants)
    if not possible.any():
        raise SettingError("a site file could have none of these settings: `tidebed check` would refuse every one")
    pieces: list[Part] = []
    pieces += whole.split(max(parts, whole.size // MOST_AT_ONCE if isinstance(whole, EnginePart) else 1))
    today = None if grid.number_of_today() is not None else grid.today()
    a_case = [*pieces, _whole(trial, today, cases, variants)[0]] if today is not None else pieces
    units: list[Unit] = [(number, piece) for number in range(len(cases)) for piece in a_case]
    total, so_far = sum(part.size for _, part in units), 0

    def done(count: int) -> None:
        nonlocal so_far
        so_far += count
        if progress is not None:
            progress(so_far, total)

    found = run(cases, units, done)
    by_case = [found[begin : begin + len(a_case)] for begin in range(0, len(found), len(a_case))]
    numbered = together([one_after_another(of_case[: len(pieces)]) for of_case in by_case])
    scores = grid.in_order(numbered, order)
    own = grid.number_of_today()
    if own is not None:
        return _judged(trial, cases, scores, possible, scores.rows([own]))
    return _judged(
        trial, cases, scores, possible, together([of_case[-1] for of_case in by_case]) if today is not None else None
    )


def _judged(
    trial: Trial, cases: Sequence[Case], scores: Scores, possible: NDArray[np.bool_], today: Scores | None
) -> Tuned:
    table = costs(scores)
    kept = np.zeros(len(possible), np.bool_)
    kept[possible] = unbeaten(table[possible])
    beats = 0
    if today is not None:
        own = costs(today)[0]
        beats = int((possible & (table <= own).all(axis=1) & (table < own).any(axis=1)).sum())
    choice = choose(scores, trial.grid, possible, today)
    return Tuned(trial, tuple(cases), scores, table, possible, kept, today, beats, choice)


def _whole(
    trial: Trial, grid: Grid, cases: Sequence[Case], variants: Variants
) -> tuple[Part, tuple[str, ...], NDArray[np.bool_]]:
    """(all settings of the grid, the order of axes in which they are numbered, which of them are possible)."""
    band = plain_band(trial, cases)
    if band is not None:
        return _band(trial, band, grid, cases[0].plan.point(band.point))
    # Settings that differ in delays alone lie side by side, since they share their condition.
    order = tuple(sorted(grid.keys, key=lambda key: key in ("on_delay", "off_delay")))
    axes = tuple(grid.axes[grid.keys.index(key)] for key in order)
    found = variants(Grid(axes))
    able = np.array([variant is not None for variant in found])
    stand_in = next((variant for variant in found if variant is not None), trial.rule)
    part = EnginePart(tuple(variant or stand_in for variant in found), trial.side)
    possible = _turned(able, grid, order)
    return part, order, possible


def _turned(able: NDArray[np.bool_], grid: Grid, order: Sequence[str]) -> NDArray[np.bool_]:
    shape = tuple(len(grid.axes[grid.keys.index(key)]) for key in order)
    return able.reshape(shape).transpose(*(order.index(key) for key in grid.keys)).reshape(-1)


def plain_band(trial: Trial, cases: Sequence[Case]) -> BandSettings | None:
    """The rule, where no engine is needed for its settings: a band that always counts, and nothing was ever off."""
    rule = trial.rule
    plain = (
        isinstance(rule, BandSettings)
        and not rule.limits
        and rule.while_ is None
        and rule.during is None
        and rule.since_note is None
        and all(key in FAST_KEYS for key in trial.grid.keys)
        and not any(act.kind is ActKind.OFF for case in cases for act in case.past.acts)
    )
    return rule if plain and isinstance(rule, BandSettings) else None


def _band(
    trial: Trial, rule: BandSettings, grid: Grid, point: PointPlan
) -> tuple[BandPart, tuple[str, ...], NDArray[np.bool_]]:
    """The settings of a band; possible are those that a site file may have (daemon/site/limits.py)."""
    low = trial.side == "low"
    axes = {axis.key: axis for axis in grid.axes}

    def values(key: str, fixed: Fraction) -> tuple[Fraction, ...]:
        return axes[key].exact if key in axes else (fixed,)

    def amount(key: str, *, difference: bool = False) -> Fraction:
        own = getattr(rule, key)
        return Fraction(0) if own is None else parse_amount(own, point.units, difference=difference) / point.resolution

    limits = values(trial.side, amount(trial.side))
    deadbands = values("deadband", amount("deadband", difference=True))
    on_delays = values("on_delay", Fraction(rule.on_delay))
    off_delays = values("off_delay", Fraction(rule.off_delay))
    order = (trial.side, "deadband", "on_delay", "off_delay")
    inside = np.array([deadband >= 0 for deadband in deadbands])[None, :]
    other = getattr(rule, "high" if low else "low")
    if other is not None:
        edge = amount("high" if low else "low")
        room = [(edge - limit if low else limit - edge) for limit in limits]
        inside = inside & np.array([[space > 0 and deadband < space for deadband in deadbands] for space in room])
    possible = np.broadcast_to(inside[:, :, None, None], (len(limits), len(deadbands), len(on_delays), len(off_delays)))
    left = tuple(key for key in order if key in axes)
    part = BandPart(
        point.id,
        low,
        BandGrid(
            tuple(-limit if low else limit for limit in limits),
            tuple(max(deadband, Fraction(0)) for deadband in deadbands),
            tuple(int(delay) for delay in on_delays),
            tuple(int(delay) for delay in off_delays),
        ),
    )
    return part, left, _turned(np.ascontiguousarray(possible).reshape(-1), grid, left)
