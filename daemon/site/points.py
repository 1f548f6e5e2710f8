"""Are the points right: does the unit fit the quantity, and can the resolution hold what the probe sends?"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from daemon.site.draft import Draft
from daemon.site.lines import Path
from daemon.site.located import nearest
from daemon.site.tables import PointTable
from rules.door import LARGEST_COUNT
from rules.durations import show_duration
from rules.errors import SettingError, UnitError, ValueRefused
from rules.local_time import Zone
from rules.plan import PointPlan
from rules.quality.chosen import chosen
from rules.quality.settings import QualitySettings
from rules.quantities import QUANTITIES, Quantity
from rules.units import Unit, convert, parse_amount, parse_unit

_COARSEST = 10
"""A resolution of which fewer than this many steps span what is plausible is a mistake (common practice, no source)."""
_FINEST_PLACES = 12
_INTERVALS_UNTIL_STALE = 3


def point_plans(made: Draft) -> dict[str, PointPlan]:
    """The points that are right, by id; the problems of the others are noted."""
    plans: dict[str, PointPlan] = {}
    for index, table in made.points.items():
        plan = _point(made, ("point", index), table)
        if plan is not None:
            plans.setdefault(plan.id, plan)
    return plans


def _point(made: Draft, path: Path, table: PointTable) -> PointPlan | None:
    quantity = QUANTITIES.get(table.quantity)
    if quantity is None:
        made.refuse((*path, "quantity"), "unknown quantity", nearest(table.quantity, QUANTITIES, kind="quantities"))
        return None
    try:
        unit = quantity.accepts(table.unit) if table.unit is not None else parse_unit(quantity.unit)
    except UnitError as error:
        what, _, mend = str(error).partition("; ")
        made.refuse((*path, "unit"), what, mend or f'write unit = "{quantity.unit}"')
        return None
    resolution = _resolution(made, (*path, "resolution"), table, quantity, unit)
    stale_after = _stale_after(made, path, table)
    if resolution is None or stale_after is None:
        return None
    raw = _raw(made, path, table, unit)
    if raw is None:
        return None
    plan = PointPlan(
        id=table.id,
        quantity=quantity.name,
        unit=unit.symbol,
        resolution=resolution,
        expect_every=table.expect_every,
        stale_after=stale_after,
        accept_suspect=table.accept_suspect,
        name=table.name,
        raw_unit=raw[0],
        raw_resolution=raw[1],
    )
    return replace(plan, quality=_quality(made, (*path, "quality"), table, plan))


def _raw(made: Draft, path: Path, table: PointTable, unit: Unit) -> tuple[str, Fraction | None] | None:
    """(unit, resolution) of what the probe sends, where they are its own; None after a problem."""
    try:
        raw = unit if table.raw_unit is None else parse_unit(table.raw_unit)
    except UnitError as error:
        what, _, mend = str(error).partition("; ")
        made.refuse((*path, "raw_unit"), what, mend or 'write a unit such as "mV", or leave it out')
        return None
    symbol = "" if table.raw_unit is None else raw.symbol
    if table.raw_resolution is None:
        if raw.dimension == unit.dimension:
            return symbol, None
        made.refuse((*path, "raw_unit"), "needs raw_resolution", f"say what one count is worth in {raw.symbol}: 0.1")
        return None
    try:
        resolution = parse_amount(table.raw_resolution, raw, difference=True)
    except (UnitError, ValueRefused) as error:
        made.refuse((*path, "raw_resolution"), str(error), f"write a number in {raw.symbol}, as in 0.1")
        return None
    if resolution <= 0 or (resolution * 10**_FINEST_PLACES).denominator != 1:
        made.refuse((*path, "raw_resolution"), "must be a plain decimal above zero", "write it as in 0.1")
        return None
    return symbol, resolution


def _quality(made: Draft, path: Path, table: PointTable, plan: PointPlan) -> tuple[QualitySettings, ...]:
    """The point's quality tests; those that do not fit it are refused."""
    tests: list[QualitySettings] = []
    for name, settings in chosen(table.quality, plan.kind).items():
        try:
            settings.build(plan, Zone("UTC"))
        except (SettingError, UnitError, ValueRefused) as error:
            what, _, mend = str(error).removeprefix(f"{name}: ").partition("; ")
            made.refuse((*path, name), what, mend or f"write amounts in {plan.unit}, or with a unit that fits")
        else:
            tests.append(settings)
    return tuple(tests)


def _resolution(made: Draft, path: Path, table: PointTable, quantity: Quantity, unit: Unit) -> Fraction | None:
    if table.resolution is None:
        return quantity.default_resolution(unit)
    try:
        resolution = parse_amount(table.resolution, unit, difference=True)
    except (UnitError, ValueRefused) as error:
        made.refuse(path, str(error), "write a number in the point's unit, as in 0.01")
        return None
    own = parse_unit(quantity.unit)
    low, high = convert(quantity.low, own, unit), convert(quantity.high, own, unit)
    if resolution <= 0:
        made.refuse(path, "must be more than zero", "write what one step of the probe is worth, as in 0.01")
    elif (resolution * 10**_FINEST_PLACES).denominator != 1:
        made.refuse(path, "must be a plain decimal in the point's unit", "write it as in 0.01")
    elif resolution * _COARSEST > high - low:
        span = f"{_plain(low)} to {_plain(high)} {unit.symbol}"
        made.refuse(path, f"is too coarse for {quantity.name} ({span})", "write what one step of the probe is worth")
    elif max(abs(low), abs(high)) / resolution > LARGEST_COUNT:
        made.refuse(path, f"is too fine for {quantity.name}", "write what one step of the probe is worth")
    else:
        return resolution
    return None


def _stale_after(made: Draft, path: Path, table: PointTable) -> int | None:
    if table.expect_every <= 0:
        made.refuse((*path, "expect_every"), "must be more than zero", 'say how often a reading should come: "60 s"')
        return None
    if table.stale_after is None:
        return _INTERVALS_UNTIL_STALE * table.expect_every
    if table.stale_after < table.expect_every:
        made.refuse(
            (*path, "stale_after"),
            f"is shorter than expect_every ({show_duration(table.expect_every)}), so the point would be stale between "
            "any two readings",
            f'write at least "{show_duration(table.expect_every)}"; three times that is usual',
        )
        return None
    return table.stale_after


def _plain(value: Fraction) -> str:
    return f"{float(value):g}"
