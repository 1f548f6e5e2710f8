"""Which values does a person want to try for a key of a rule? `KEY=FIRST:LAST:STEP`, in exact decimals."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, get_args

from pydantic import BeforeValidator
from pydantic.fields import FieldInfo

from daemon.site.amounts import DIFFERENCES, RATES
from daemon.site.located import nearest
from demo_replay.tuning.grid import Axis, Written
from rules.durations import Duration, parse_duration, show_duration
from rules.errors import SettingError, TidebedError
from rules.plan import PointPlan
from rules.settings import Amount, RuleSettings
from rules.units import exact, parse_amount, parse_rate, parse_rate_unit, parse_unit, split_amount

MOST_SETTINGS = 1_000_000
_DURATION, _AMOUNT = (
    next(part.func for part in get_args(kind) if isinstance(part, BeforeValidator)) for kind in (Duration, Amount)
)
_FORMS = {
    "duration": 'on_delay="5 min:60 min:5 min"',
    "amount": "high=24:30:0.5",
    "rate": 'fall="0.2 degC/h:1 degC/h:0.1 degC/h"',
    "number": "needed=1:4:1",
}


@dataclass(frozen=True, slots=True)
class _Key:
    """A key that can be varied. name: of the settings class's field; kind: one of _FORMS."""

    name: str
    kind: str


def varied(texts: list[str], rule: RuleSettings, table: Mapping[str, Any], point: PointPlan) -> tuple[Axis, ...]:
    """The axes that `texts` name, one each.

    table: the rule as it stands in the site file; point: in whose unit bare amounts are. Raises SettingError for
    an unknown key, a step that is zero or leads away, values that do not fit, the same key twice, more than three keys
    and more than MOST_SETTINGS settings.
    """
    axes: list[Axis] = []
    if len(texts) > 3:
        raise SettingError(f"--vary stands {len(texts)} times; vary three keys at most, and the others after that")
    size = 1
    for text in texts:
        axis = _axis(text, rule, table, point, MOST_SETTINGS // size)
        if axis.key in [other.key for other in axes]:
            raise SettingError(f"--vary {text}: {axis.key} stands twice; give it one range")
        axes.append(axis)
        size *= len(axis)
    return tuple(axes)


def _axis(text: str, rule: RuleSettings, table: Mapping[str, Any], point: PointPlan, most: int) -> Axis:
    key, equals, ends = text.partition("=")
    key = key.strip()
    parts = [part.strip() for part in ends.split(":")]
    keys = dict(_keys(type(rule)))
    if not equals or not key:
        raise SettingError(f"--vary {text!r} is not understood; write KEY=FIRST:LAST:STEP, as in {_FORMS['amount']}")
    if key not in keys:
        raise SettingError(f"--vary {text}: {rule.id} has no number called {key}; {nearest(key, keys, kind='keys')}")
    own = keys[key]
    if len(parts) != 3 or not all(parts):
        raise SettingError(f"--vary {text}: write {key}=FIRST:LAST:STEP, as in {_FORMS[own.kind]}")
    try:
        return _filled(key, own, parts, rule, table, point, most)
    except TidebedError as error:
        raise SettingError(f"--vary {text}: {error}") from error


def _filled(
    key: str, own: _Key, parts: list[str], rule: RuleSettings, table: Mapping[str, Any], point: PointPlan, most: int
) -> Axis:
    unit = _unit(own, parts)
    first, last, step = (_number(own, part, unit) for part in parts)
    _check_step(first, last, step)
    count = (last - first) // step + 1
    if count > most:
        raise SettingError(
            f"that makes more than {MOST_SETTINGS:,} settings; take a longer step, or vary fewer keys at once"
        )
    values = sorted(first + step * index for index in range(count))
    written = tuple(_written(own, value, unit, _places(first, step)) for value in values)
    now = getattr(rule, own.name)
    now_written = None if now is None else table.get(key, show_duration(now) if own.kind == "duration" else now)
    return Axis(
        key,
        written,
        tuple(_exact(own, value, point) for value in written),
        None if now_written is None else _exact(own, now_written, point),
        now_written,
    )


def _check_step(first: Fraction, last: Fraction, step: Fraction) -> None:
    if step == 0:
        raise SettingError("the step is zero; write how far the values lie apart")
    if (last - first) * step < 0:
        raise SettingError("the step leads away from LAST, so there is nothing to try; swap FIRST and LAST")


def _keys(model: type[RuleSettings]) -> Iterator[tuple[str, _Key]]:
    """Every key of a kind that holds a number, by its name in the file."""
    for name, field in model.model_fields.items():
        kind = _kind(name, field)
        if kind and name != "after":  # it is about the alarms of others
            yield field.alias or name, _Key(name, kind)


def _kind(name: str, field: FieldInfo) -> str:
    if _holds(field, _DURATION):
        return "duration"
    if _holds(field, _AMOUNT):
        return "amount"
    if name in RATES or name == "deadband":
        return "rate"
    return "number" if field.annotation is int else ""


def _holds(field: FieldInfo, validator: object) -> bool:
    return any(getattr(part, "func", None) is validator for part in field.metadata) or _carries(
        field.annotation, validator
    )


def _carries(annotation: Any, validator: object) -> bool:
    return any(
        getattr(part, "func", None) is validator or (get_args(part) and _carries(part, validator))
        for part in get_args(annotation)
    )


def _unit(own: _Key, parts: list[str]) -> str:
    """The one unit in which the three parts are written; a part without one takes that of the others."""
    found = list(dict.fromkeys(symbol for _, symbol in map(split_amount, parts) if symbol))
    if own.kind == "duration":
        return found[-1] if found else ""
    parse = parse_rate_unit if own.kind == "rate" else parse_unit
    if len({(parse(symbol).scale, parse(symbol).offset) for symbol in found}) > 1:
        raise SettingError(f"{' and '.join(found)} stand beside each other; write all three in one unit")
    if own.kind == "number" and found:
        raise SettingError(f"it is a plain number; take {found[0]} away")
    return found[0] if found else ""


def _number(own: _Key, part: str, unit: str) -> Fraction:
    """A part in `unit`, durations in ms."""
    number, symbol = split_amount(part)
    if own.kind == "duration":
        length = number.removeprefix("-")
        return Fraction(parse_duration(f"{length} {symbol or unit}".strip())) * (-1 if number != length else 1)
    value = exact(number)
    if own.kind == "number" and value.denominator != 1:
        raise SettingError(f"{part} must be a whole number")
    return value


def _places(first: Fraction, step: Fraction) -> int:
    """The decimals that show every value; both are finite decimals, as written."""
    places = 0
    while (first * 10**places).denominator != 1 or (step * 10**places).denominator != 1:
        places += 1
    return places


def _written(own: _Key, value: Fraction, unit: str, places: int) -> Written:
    if own.kind == "duration":
        return show_duration(int(value)) if value >= 0 else f"{int(value)} ms"
    if own.kind == "number":
        return int(value)
    number = Decimal(int(value * 10**places)).scaleb(-places)
    return f"{number:f} {unit}" if unit else number


def _exact(own: _Key, written: Written, point: PointPlan) -> Fraction:
    """In ms, plain numbers, or counts of the point (rates: a ms)."""
    if own.kind == "duration":
        return Fraction(parse_duration(written))
    if own.kind == "number":
        return Fraction(int(written))
    if own.kind == "rate":
        return parse_rate(written, point.units) / point.resolution
    return parse_amount(written, point.units, difference=own.name in DIFFERENCES) / point.resolution
