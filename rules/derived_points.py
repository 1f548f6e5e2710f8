"""Which points are worked out from others, and what do they read? One reading wherever an input has a new one."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from rules.block import Block, Flags, Times
from rules.derived.record import Argument, Derived, Instead
from rules.derived.registry import derived
from rules.derived_settings import AnyDerived, FormulaSettings, LinearSettings, OverWindowSettings, RatioSettings
from rules.door import LARGEST_COUNT
from rules.durations import HOUR
from rules.errors import SettingError, UnitError
from rules.flags import Flag
from rules.joining import together
from rules.plan import PointPlan
from rules.quantities import QUANTITIES
from rules.span import Span
from rules.units import Unit, affine, convert, exact, parse_amount, parse_unit
from rules.windows import extremes

Floats = NDArray[np.float64]


class DerivedPlan:
    """A derived point that fits its inputs: its plan, and how its readings are found."""

    def __init__(self, settings: AnyDerived, points: Mapping[str, PointPlan]) -> None:
        """points: all that it may rest on, derived ones above it included. Raises SettingError, UnitError."""
        self.settings = settings
        self.inputs = settings.inputs_among(points)
        for name in self.inputs:
            if name not in points:
                raise SettingError(f"{settings.id} is worked out from {name}, which is no point above it")
        if not self.inputs:
            raise SettingError(f"{settings.id} is worked out from no point")
        self.worker, quantity, unit = _worker(settings, points)
        quantity = settings.quantity or quantity
        if quantity is None:
            raise SettingError(f'{settings.id} needs quantity, as in quantity = "ratio"')
        unit = settings.unit or unit
        hold = settings.stale_after or max(points[name].stale_after for name in self.inputs)
        every = max(points[name].expect_every for name in self.inputs)
        draft = PointPlan(settings.id, quantity, unit, Fraction(1), every, hold, name=settings.name)
        kind, given = draft.kind, draft.kind.accepts(unit)
        step = kind.default_resolution(given)
        if settings.resolution is not None:
            step = parse_amount(settings.resolution, given, difference=True)
        elif isinstance(settings, OverWindowSettings) and settings.take != "loss":
            own = points[settings.point]
            step = own.resolution if own.units.scale == given.scale else step
        if step <= 0:
            raise SettingError(f"{settings.id}: resolution must be above 0")
        self.point = PointPlan(settings.id, quantity, unit, step, every, hold, name=settings.name)

    @property
    def reach(self) -> dict[str, int]:
        """point -> how far back (ms) it looks."""
        window = self.settings.window if isinstance(self.settings, OverWindowSettings) else 0
        return dict.fromkeys(self.inputs, window)

    def readings(self, spans: Mapping[str, Span]) -> Block:
        """The readings of this step; where the formula does not hold, flagged 4 with no value."""
        parts = [spans[name] for name in self.inputs]
        if not any(len(part.t) for part in parts):
            none = np.empty(0, np.int64)
            return Block(self.point.id, none, none, np.empty(0, np.uint8))
        times, values, valid, flags = self.worker.work(parts)
        wanted = values / float(self.point.resolution)
        valid &= np.abs(wanted) <= LARGEST_COUNT
        counts = np.rint(np.where(valid, wanted, 0.0)).astype(np.int64)
        return Block(self.point.id, times, counts, np.where(valid, flags, np.uint8(Flag.FAIL)).astype(np.uint8))


Worked = tuple[Times, Floats, NDArray[np.bool_], Flags]
"""(times, values in the point's unit, where they hold, flags)."""


class Worker(Protocol):
    """Works a derived point out from the spans of its inputs, in their order."""

    def work(self, spans: list[Span]) -> Worked:
        """The readings of this step."""


class _Scale:
    """Counts of a point to floats in another unit; raises UnitError where the point does not measure what it does."""

    def __init__(self, point: PointPlan, unit: Unit) -> None:
        self.scale = float(convert(point.resolution, point.units, unit, difference=True))
        self.offset = float(convert(Fraction(0), point.units, unit))

    def of(self, counts: NDArray[np.int64]) -> Floats:
        """Values in the unit."""
        return counts.astype(np.float64) * self.scale + self.offset


class _Formula:
    def __init__(
        self, record: Derived, points: dict[str, tuple[int, _Scale]], fixed: dict[str, float], out: tuple[float, float]
    ) -> None:
        self.record, self.points, self.fixed, self.out = record, points, fixed, out

    def work(self, spans: list[Span]) -> Worked:
        """The formula at every instant at which all inputs speak."""
        joint = together(spans)
        columns: dict[str, float | Floats] = dict(self.fixed)
        columns |= {name: scale.of(joint.counts[at]) for name, (at, scale) in self.points.items()}
        values, valid = self.record.evaluate(columns)
        scale, offset = self.out
        return joint.times, np.asarray(values * scale + offset), valid, joint.flags


class _Linear:
    def __init__(self, weights: list[float], constant: float) -> None:
        self.weights, self.constant = weights, constant

    def work(self, spans: list[Span]) -> Worked:
        """The weighted sum."""
        joint = together(spans)
        values = np.full(len(joint.times), self.constant)
        for weight, counts in zip(self.weights, joint.counts, strict=True):
            values += weight * counts
        return joint.times, values, np.ones(len(values), np.bool_), joint.flags


class _Ratio:
    def __init__(self, above: _Scale, below: _Scale | float, unit: Unit) -> None:
        self.above, self.below, self.scale = above, below, float(1 / unit.scale)

    def work(self, spans: list[Span]) -> Worked:
        """The quotient; nothing where it would divide by zero."""
        joint = together(spans)
        below = self.below.of(joint.counts[1]) if isinstance(self.below, _Scale) else self.below
        divisor = np.broadcast_to(np.asarray(below, np.float64), joint.times.shape)
        valid = divisor != 0
        values = np.zeros(len(joint.times))
        np.divide(self.above.of(joint.counts[0]), divisor, out=values, where=valid)
        return joint.times, values * self.scale, valid, joint.flags


class _OverWindow:
    def __init__(self, take: str, window: int, scale: _Scale) -> None:
        self.take, self.window, self.scale = take, window, scale

    def work(self, spans: list[Span]) -> Worked:
        """At each reading of the one input, once its run covers the window (a loss: half of it)."""
        span = spans[0]
        if self.take == "loss":
            found = span.slopes(self.window)
            valid = span.enough(self.window, 3, self.window // 2).copy()
            below = np.where(valid, found.below.astype(np.float64), 1.0)
            values = np.asarray(-found.above.astype(np.float64) / below * (self.scale.scale * HOUR), np.float64)
            return span.t, values, valid, span.f
        moved, covered = span.movement(self.window)
        if self.take == "spread":
            return span.t, moved.astype(np.float64) * self.scale.scale, covered.copy(), span.f
        times, counts = span.joined
        low = span.window(self.window)
        begin = len(times) - len(span.t)
        if self.take == "mean":
            total = np.concatenate((np.zeros(1, np.int64), np.cumsum(counts)))
            many = np.arange(begin + 1, len(times) + 1) - low
            mean = (total[begin + 1 :] - total.take(low)).astype(np.float64) / many
            return span.t, np.asarray(mean * self.scale.scale + self.scale.offset), covered.copy(), span.f
        edge = extremes(counts, low, begin, np.maximum if self.take == "max" else np.minimum)
        return span.t, self.scale.of(edge), covered.copy(), span.f


def _worker(settings: AnyDerived, points: Mapping[str, PointPlan]) -> tuple[Worker, str | None, str]:
    """(how to work it out, the quantity it gives if that is known, the unit it gives)."""
    if isinstance(settings, FormulaSettings):
        return _formula_worker(settings, points)
    if isinstance(settings, LinearSettings):
        if settings.unit is None or settings.quantity is None:
            raise SettingError(f"{settings.id} needs quantity and unit: what the sum measures")
        weights = [float(exact(w) * points[name].resolution) for name, w in settings.weights.items()]
        return _Linear(weights, float(settings.constant)), settings.quantity, settings.unit
    if isinstance(settings, RatioSettings):
        above, unit = points[settings.of], parse_unit(settings.unit or "1")
        if unit.dimension != "ratio":
            raise UnitError(f"{settings.id} is in {unit.symbol}, and a ratio is in 1 or %")
        scale = _Scale(above, above.units)
        if isinstance(settings.by, str) and settings.by in points:
            if points[settings.by].units.dimension != above.units.dimension:
                raise UnitError(f"{settings.id}: {settings.of} and {settings.by} do not measure the same")
            return _Ratio(scale, _Scale(points[settings.by], above.units), unit), "ratio", unit.symbol
        below = parse_amount(settings.by, above.units)
        if not below:
            raise SettingError(f"{settings.id} divides by zero")
        return _Ratio(scale, float(below), unit), "ratio", unit.symbol
    return _window_worker(settings, points[settings.point])


_AN_HOUR = {"L": "L/h", "m3": "m3/h", "gal": "gal/h"}


def _window_worker(settings: OverWindowSettings, point: PointPlan) -> tuple[Worker, str | None, str]:
    """In the point's own unit or one like it; a loss is so much an hour, and a loss of volume is a flow."""
    own, unit, quantity = point.units, parse_unit(settings.unit or point.unit), point.quantity
    if settings.take == "loss" and own.dimension == "volume" and settings.quantity in (None, "flow"):
        flow = parse_unit(settings.unit or _AN_HOUR.get(own.symbol, "L/h"))
        if flow.dimension == "flow":
            an_hour = Unit(flow.symbol, own.dimension, flow.scale * (HOUR // 1000))
            return _OverWindow(settings.take, settings.window, _Scale(point, an_hour)), "flow", flow.symbol
    if settings.take in ("spread", "loss") and own.dimension == "temperature":
        apart = QUANTITIES["temperature_difference"]
        if settings.quantity not in (None, apart.name):
            raise SettingError(f'{settings.id} tells how far temperatures lie apart: quantity = "{apart.name}"')
        quantity, unit = apart.name, apart.accepts(settings.unit or apart.unit)
    if unit.dimension != own.dimension:
        raise UnitError(f"{settings.id} is in {unit.symbol}, which {point.id} ({point.unit}) cannot be shown in")
    return _OverWindow(settings.take, settings.window, _Scale(point, unit)), quantity, unit.symbol


def _is_difference(argument: Argument | Instead) -> bool:
    return isinstance(argument, Argument) and argument.difference


def _argument(name: str, argument: Argument | Instead, point: PointPlan) -> _Scale:
    """How the counts of `point` become an argument of the formula of the derived point `name`."""
    unit, apart = parse_unit(argument.unit), _is_difference(argument)
    if unit.dimension == point.units.dimension == "temperature" and apart != point.units.difference:
        wanted = "how far temperatures lie apart" if apart else "a temperature"
        raise UnitError(f"{name}: {argument.name} is {wanted}, and {point.id} measures {point.quantity}")
    return _Scale(point, unit)


def _formula_worker(settings: FormulaSettings, points: Mapping[str, PointPlan]) -> tuple[Worker, str | None, str]:
    record = derived(settings.formula)
    if record.takes_lists:
        raise SettingError(f"{settings.id}: {record.name} sums up a list; use over_window or the season report")
    record.refuse_unknown(settings.inputs)
    given: dict[str, tuple[int, _Scale]] = {}
    fixed: dict[str, float] = {}
    inputs = settings.inputs_among(points)
    for argument in record.arguments:
        choices: list[Argument | Instead] = [argument, *([argument.instead] if argument.instead is not None else [])]
        for choice in choices:
            if choice.name not in settings.inputs:
                continue
            value = settings.inputs[choice.name]
            if isinstance(value, str) and value in points:
                given[choice.name] = (inputs.index(value), _argument(settings.id, choice, points[value]))
            else:
                fixed[choice.name] = float(
                    parse_amount(value, parse_unit(choice.unit), difference=_is_difference(choice))
                )
        if argument.required and not any(choice.name in settings.inputs for choice in choices):
            raise record.missing(argument)
    unit = settings.unit or record.unit
    offset, scale = affine(parse_unit(record.unit), parse_unit(unit))
    return _Formula(record, given, fixed, (float(scale), float(offset))), record.result_quantity, unit
