"""Which settings are amounts in a point's unit, and what are they exactly?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import Any, get_args

from pydantic import BeforeValidator
from pydantic.fields import FieldInfo

from daemon.site.draft import Draft
from daemon.site.lines import Path
from rules.errors import UnitError, ValueRefused
from rules.plan import PointPlan
from rules.settings import Amount, Settings
from rules.units import parse_amount, parse_rate

DIFFERENCES = frozenset({"deadband", "still", "moved", "span", "tolerance"})
"""Settings that are distances between values: they convert without the offset of their unit."""
RATES = frozenset({"rise", "fall", "rising", "falling", "loss"})
"""Settings that are rates of change; so is a `deadband` that is no amount."""

_AMOUNT = next(part.func for part in get_args(Amount) if isinstance(part, BeforeValidator))


def amounts(made: Draft, settings: Settings, at: Path, points: Mapping[str, PointPlan]) -> dict[Path, Fraction]:
    """Path -> value in its point's unit (rates: a millisecond) of every amount of a rule or stage.

    What is no number, or carries a unit that does not fit its point, is noted as a problem and left out, as is
    everything that rests on a point that is unknown or wrong.
    """
    found: dict[Path, Fraction] = {}
    for path, field, value, point in _amount_fields(settings, at, points, None):
        name = path[-1]
        is_amount = _is_amount(field)
        try:
            found[path] = (
                parse_amount(value, point.units, difference=name in DIFFERENCES)
                if is_amount
                else parse_rate(value, point.units)
            )
        except (UnitError, ValueRefused) as error:
            what, _, mend = str(error).partition("; ")
            example = f"a number in {point.unit}" if is_amount else f'text with a unit, as in "2 {point.unit}/h"'
            made.refuse(path, what, mend or f"write {example}")
    return found


def _amount_fields(
    settings: Settings, at: Path, points: Mapping[str, PointPlan], point: PointPlan | None
) -> Iterator[tuple[Path, FieldInfo, Any, PointPlan]]:
    point = _own_point(settings, points, point)
    for name, field in type(settings).model_fields.items():
        value, path = getattr(settings, name), (*at, field.alias or name)
        if isinstance(value, Settings):
            yield from _amount_fields(value, path, points, point)
        elif isinstance(value, tuple) and any(isinstance(item, Settings) for item in value):
            for index, item in enumerate(value):
                yield from _amount_fields(item, (*path, index), points, point)
        elif value is not None and point is not None and (_is_amount(field) or _is_rate(name)):
            yield path, field, value, point


def _own_point(settings: Settings, points: Mapping[str, PointPlan], outer: PointPlan | None) -> PointPlan | None:
    name = getattr(settings, "point", None)
    if name is None:
        several = getattr(settings, "points", None)
        name = several[0] if several else None
    return points.get(name) if isinstance(name, str) else outer


def _is_amount(field: FieldInfo) -> bool:
    return _carries(field.annotation) or any(getattr(part, "func", None) is _AMOUNT for part in field.metadata)


def _carries(annotation: Any) -> bool:
    return any(getattr(part, "func", None) is _AMOUNT or _carries(part) for part in get_args(annotation))


def _is_rate(name: str) -> bool:
    return name in RATES or name == "deadband"
