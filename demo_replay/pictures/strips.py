"""How is one point drawn along the hours: its line, its limits, what lies beyond them, and what a flag doubts?"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch, Polygon, Rectangle
from matplotlib.path import Path as Outline
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from demo_replay.episodes import Episode
from demo_replay.pictures.ink import BEYOND, FAINT, GRID, INK, LOOKS, PLAIN, SMALL, TEXT, WIDTH
from demo_replay.pictures.lanes import Ticks, hour_lines
from demo_replay.pictures.limits import Floats, Limit, in_shown_unit, limits
from demo_replay.pictures.sheet import MARGIN, Sheet
from demo_replay.pictures.thinned import breaks, thinned
from rules.block import Block, Counts, Source, Times, concatenate
from rules.flags import Flag
from rules.limits_of import limits_of
from rules.plan import Plan, PointPlan
from rules.settings import Priority
from rules.showing import fitted, show

_TALL, _LOW, _FLAT, _CAPTION = 180, 96, 48, 44
_LEAST_COUNTS = 25
"""A strip is at least so many counts tall, so that the last digit of a quiet point does not fill it."""
_EDGE = 0.08
"""How far within the strip, as a share of its height, a flagged reading is marked that lies beyond it."""
_MARKS = 60
"""Flagged readings are marked so many along the strip at most, and a tenth of that one above the other."""

Shown = Callable[[Counts], Floats]


def strip(
    sheet: Sheet, plan: Plan, source: Source, point: PointPlan, found: Sequence[Episode], hours: Ticks, *, tall: bool
) -> None:
    """Add a strip of one point; `found`: alarms of rules whose events show this point; `tall`: it is looked at."""
    part = concatenate(point.id, source.read(point.id, sheet.span[0] - 1, sheet.span[1]))
    usable = part.flags <= (Flag.SUSPECT if point.accept_suspect else Flag.NOT_EVALUATED)
    good = Block(point.id, part.times[usable], part.values[usable], part.flags[usable])
    shown = in_shown_unit(plan, point)
    grid = np.linspace(sheet.span[0], sheet.span[1], sheet.pixels // 2).astype(np.int64)
    lines = limits(plan, point, grid)
    flat = point.quantity == "state"

    def draw(axes: Axes) -> None:
        for side in ("left", "bottom"):
            axes.spines[side].set_visible(True)
            axes.spines[side].set_color(GRID)
        hour_lines(sheet, axes, hours)
        least = _LEAST_COUNTS * float(np.diff(shown(np.array([0, 1])))[0])
        axes.set_ylim(_states(shown(good.values)) if flat else _range(shown(good.values), lines, least))
        axes.yaxis.set_major_locator(MaxNLocator(3 if tall and not flat else 1 if flat else 2, integer=flat))
        axes.tick_params(axis="y", labelsize=SMALL, colors=PLAIN, length=3, pad=4)
        _gaps(sheet, axes, good.times, point.stale_after)
        x = _hours(sheet, grid)
        for limit in lines:
            _limit(axes, x, limit)
        for one in found:
            _foot(sheet, axes, one)
        _line(sheet, axes, good, point.stale_after, shown, flat=flat)
        for limit in lines:
            if not limit.evidence:
                _beyond_limit(sheet, axes, good, point.stale_after, shown, _region(axes, x, limit), limit)
        _doubtful(sheet, axes, part, shown)
        _outside(sheet, axes, good, shown)

    _caption(sheet, plan, point, good)
    sheet.row(_FLAT if flat else _TALL if tall else _LOW, draw)


def _caption(sheet: Sheet, plan: Plan, point: PointPlan, good: Block) -> None:
    """Name and limits on the left, lowest and highest on the right."""
    # A rule that raises no alarm has no limit that a keeper should keep to.
    raising = tuple(rule for rule in plan.rules if rule.priority is not Priority.LOG)
    told = limits_of(plan.with_rules(raising), point)
    seen = "no usable reading"
    if len(good):
        least, most = (show(plan, point, int(v)) for v in (good.values.min(), good.values.max()))
        seen = least if least == most else f"{least} to {most}"

    def draw(axes: Axes) -> None:
        name = axes.text(
            MARGIN, 0.42, fitted(point.name or point.id, 34), size=TEXT, color=INK, weight="bold", va="center"
        )
        if told:
            between = f"  limits {told}" if " .. " in told else f"  normal {told}"
            axes.annotate(between, (1, 0.5), xycoords=name, size=SMALL, color=PLAIN, va="center", ha="left")
        axes.text(WIDTH - MARGIN, 0.42, seen, size=SMALL, color=PLAIN, va="center", ha="right")

    sheet.row(_CAPTION, draw, wide=True)


def _hours(sheet: Sheet, times: Times) -> Floats:
    """Where moments lie along the hours; as Sheet.x, in columns."""
    return (times - sheet.span[0]) / 3_600_000


def _states(values: Floats) -> tuple[float, float]:
    low, high = (float(values.min()), float(values.max())) if len(values) else (0.0, 1.0)
    return min(low, 0.0) - 0.25, max(high, 1.0) + 0.25


def _range(values: Floats, lines: Sequence[Limit], least: float) -> tuple[float, float]:
    """What the strip shows: most readings, and the limits that are not far away; a spike does not squash the rest."""
    if not len(values):
        return 0.0, 1.0
    low, high = (float(v) for v in np.percentile(values, [1, 99]))
    room = max(high - low, least)
    near = values[(values > low - 1.5 * room) & (values < high + 1.5 * room)]
    low, high = min(low, float(near.min())), max(high, float(near.max()))
    short = max(least - (high - low), 0.0)
    low, high = low - short / 2, high + short / 2
    reach = 1.2 * (high - low)
    below, above = low - reach, high + reach
    for limit in lines:
        for value in (float(np.nanmin(limit.values)), float(np.nanmax(limit.values))):
            if below < value < above:
                low, high = min(low, value), max(high, value)
    margin = (high - low) * 0.12 or 1.0
    return low - margin, high + margin


def _limit(axes: Axes, x: Floats, limit: Limit) -> None:
    if limit.evidence:
        axes.plot(x, limit.values, color=FAINT, lw=1, ls=(0, (2, 3)), zorder=1)
        return
    region = _region(axes, x, limit)
    axes.add_patch(Polygon(region, closed=True, fc=BEYOND, ec="none", zorder=0.5))
    axes.add_patch(Polygon(region, closed=True, fill=False, ec=GRID, hatch="///", lw=0, zorder=0.6))
    axes.plot(x, limit.values, color=PLAIN, lw=1.1, zorder=1)


def _region(axes: Axes, x: Floats, limit: Limit) -> Floats:
    """The corners of what lies beyond a limit: float64[n, 2]."""
    low, high = axes.get_ylim()
    edge = high + (high - low) if limit.side == "high" else low - (high - low)
    column = np.where(np.isnan(limit.values), edge, limit.values)
    return np.concatenate((np.column_stack((x, column)), [[x[-1], edge], [x[0], edge]]))


def _joined(sheet: Sheet, good: Block, hold: int, shown: Shown) -> tuple[Floats, Floats]:
    """(hours, values) of a line through the readings, broken where nothing was held."""
    at = thinned(good.times, good.values, sheet.span, sheet.pixels)
    cut = np.searchsorted(at, breaks(good.times, hold))
    return (
        np.insert(_hours(sheet, good.times[at]), cut, np.nan),
        np.insert(shown(good.values[at]), cut, np.nan),
    )


def _line(sheet: Sheet, axes: Axes, good: Block, hold: int, shown: Shown, *, flat: bool) -> None:
    style = "steps-post" if flat else "default"
    axes.plot(*_joined(sheet, good, hold, shown), color=PLAIN, lw=1.5, drawstyle=style, zorder=2)


def _beyond_limit(sheet: Sheet, axes: Axes, good: Block, hold: int, shown: Shown, region: Floats, limit: Limit) -> None:
    """The line once more, in colour, cut to what lies beyond the limit."""
    colour = LOOKS[limit.priority.value].colour
    (over,) = axes.plot(*_joined(sheet, good, hold, shown), color=colour, lw=3.2, zorder=3)
    over.set_clip_path(PathPatch(Outline(region), transform=axes.transData))


def _gaps(sheet: Sheet, axes: Axes, times: Times, hold: int) -> None:
    """Where nothing usable was known for longer than the point may be silent."""
    low, high = axes.get_ylim()
    ends = np.concatenate(([sheet.span[0]], times, [sheet.span[1]]))
    for at in breaks(ends, hold):
        start, stop = sheet.x(int(ends[at - 1])), sheet.x(int(ends[at]))
        axes.add_patch(
            Rectangle((start, low), stop - start, high - low, fc="white", ec=FAINT, hatch="xx", lw=0, zorder=1.5)
        )
        if stop - start > 0.18 * sheet.x(sheet.span[1]):
            axes.text(
                (start + stop) / 2,
                (low + high) / 2,
                "no reading",
                size=SMALL,
                color=INK,
                ha="center",
                va="center",
                zorder=6,
                bbox={"fc": "white", "ec": "none", "pad": 2},
            )


def _foot(sheet: Sheet, axes: Axes, one: Episode) -> None:
    """A bar along the bottom while an alarm stood, with a tick where it began; hollow while another explained it."""
    look = LOOKS[one.priority]
    low, high = axes.get_ylim()
    start = sheet.inside(one.raised)
    stop = sheet.inside(sheet.span[1] if one.ended is None else one.ended)
    told = stop if one.told is None else sheet.inside(one.told)
    height = (high - low) * 0.055
    axes.add_patch(Rectangle((start, low), told - start, height, fc="white", ec=FAINT, lw=1, zorder=3.8))
    if one.told is None:
        return
    axes.add_patch(Rectangle((told, low), stop - told, height, fc=look.colour, ec=look.colour, lw=1, zorder=4))
    axes.plot([told], [low + height], marker=7, color=look.colour, ms=6, zorder=5, clip_on=False)


def _doubtful(sheet: Sheet, axes: Axes, part: Block, shown: Shown) -> None:
    """Readings that a flag calls suspect or failed, at the edge where the strip does not reach; missing ones below."""
    low, high = axes.get_ylim()
    within = (low + (high - low) * _EDGE, high - (high - low) * _EDGE)
    for flag, marker, inside in ((Flag.SUSPECT, "^", "white"), (Flag.FAIL, "x", INK), (Flag.MISSING, "|", INK)):
        which = np.flatnonzero(part.flags == flag)
        values = np.full(len(which), low) if flag is Flag.MISSING else np.clip(shown(part.values[which]), *within)
        hours = _hours(sheet, part.times[which])
        across = (part.times[which] - sheet.span[0]) * _MARKS // (sheet.span[1] - sheet.span[0] + 1)
        cell = across * _MARKS + ((values - low) / (high - low) * (_MARKS // 10)).astype(np.int64)
        apart = np.sort(np.unique(cell, return_index=True)[1])
        values, hours = values[apart], hours[apart]
        axes.plot(hours, values, ls="none", marker=marker, color=INK, mfc=inside, ms=7, mew=1.3, zorder=6)


def _outside(sheet: Sheet, axes: Axes, good: Block, shown: Shown) -> None:
    """Readings that the strip does not reach: arrows at its edge."""
    low, high = axes.get_ylim()
    values = shown(good.values)
    beyond: tuple[tuple[NDArray[np.bool_], float, str], ...] = ((values > high, high, "^"), (values < low, low, "v"))
    for away, edge, marker in beyond:
        which = np.flatnonzero(away)
        at = which[thinned(good.times[which], good.values[which], sheet.span, sheet.pixels // 12)]
        edges = np.full(len(at), edge)
        axes.plot(
            _hours(sheet, good.times[at]), edges, ls="none", marker=marker, color=INK, ms=6, clip_on=False, zorder=7
        )
