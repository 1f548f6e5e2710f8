"""What is one derived quantity, for arguments written as text?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from rules.derived.errors import Contradiction, NotANumber, OutOfRange, WrongUnit
from rules.derived.record import Argument, Derived, FloatOrArray, Instead, plain, with_unit
from rules.derived.registry import derived
from rules.errors import UnitError, ValueRefused
from rules.units import UNITS, Unit, convert, exact, parse_rate_unit, parse_unit, split_amount

Number = int | float | Decimal | Fraction
Given = str | Number | Sequence[str | Number]
"""What may be given for an argument: a number in its unit, text that may carry another unit, or a list of them."""

_LONGEST = 100
"""Characters of one number; longer text is a mistake, and is not shown back."""


@dataclass(frozen=True, slots=True)
class Used:
    """An argument as it went into the formula: value (or values) in `unit`, and its origin: given, default, ..."""

    name: str
    value: float | tuple[float, ...]
    unit: str
    origin: str = "given"


@dataclass(frozen=True, slots=True)
class CalcResult:
    """A derived quantity worked out, with all that went into it."""

    name: str
    value: float
    unit: str
    arguments: tuple[Used, ...]
    equation: str
    source: str
    valid_range: str

    def as_dict(self) -> dict[str, object]:
        """The result as plain values for JSON; arguments by name, each with value, unit and origin."""
        return {
            "name": self.name,
            "value": self.value,
            "unit": self.unit,
            "arguments": {
                used.name: {
                    "value": list(used.value) if isinstance(used.value, tuple) else used.value,
                    "unit": used.unit,
                    "origin": used.origin,
                }
                for used in self.arguments
            },
            "equation": self.equation,
            "source": self.source,
            "valid_range": self.valid_range,
        }


def calculate(name: str, given: Mapping[str, Given]) -> CalcResult:
    """Work out the derived quantity `name`.

    given: argument name -> number in the argument's unit, text such as `"20"`, `"68 degF"` or `"68degF"`, or for a list
    argument a sequence of those or one text with commas. Arguments with a default may be left out.
    Raises UnknownQuantity, UnknownArgument, MissingArgument, WrongUnit, NotANumber, OutOfRange, Contradiction: all of
    them DerivedError and ValueError.
    """
    record = derived(name)
    record.refuse_unknown(given)
    values: dict[str, FloatOrArray] = {}
    used: list[Used] = []
    for argument in record.arguments:
        found = _argument(record, argument, given)
        if found is None:
            continue
        used.append(found)
        values[argument.name] = np.array(found.value) if argument.is_list else _single(found.value)
    for requirement in record.requirements:
        if not np.all(requirement.holds(values)):
            shown = ", ".join(f"{item.name}={_shown(item)}" for item in used)
            raise Contradiction(f"{record.name} needs {requirement.text}; given were {shown}")
    return CalcResult(
        name=record.name,
        value=float(record.function(**values)),
        unit=record.unit,
        arguments=tuple(used),
        equation=record.equation,
        source=record.source,
        valid_range=record.valid_range,
    )


def _single(value: float | tuple[float, ...]) -> float:
    assert not isinstance(value, tuple)  # a tuple only ever comes from a list argument
    return value


def _shown(used: Used) -> str:
    values = used.value if isinstance(used.value, tuple) else (used.value,)
    return with_unit(",".join(plain(value) for value in values), used.unit)


def _argument(record: Derived, argument: Argument, given: Mapping[str, Given]) -> Used | None:
    """One argument from what was given, from its stand-in or from its default; None if it is left out."""
    instead = argument.instead
    if instead is not None and instead.name in given:
        if argument.name in given:
            raise record.twice(argument, instead)
        own = _one(record, instead, given[instead.name])
        value = float(instead.function(own))
        if not argument.contains(value):
            raise OutOfRange(
                f"{record.name}: {argument.name} is {value:.6g} {argument.unit} at {instead.name} "
                f"{plain(own)} {instead.unit}; the formula holds for {argument.range_text}"
            )
        return Used(argument.name, value, argument.unit, f"{instead.name} {plain(own)} {instead.unit}")
    if argument.name in given:
        value_given = given[argument.name]
        if argument.is_list:
            return Used(argument.name, _list(record, argument, value_given), argument.unit)
        return Used(argument.name, _one(record, argument, value_given), argument.unit)
    if argument.required:
        raise record.missing(argument)
    if argument.default is None:
        return None
    return Used(argument.name, argument.default, argument.unit, "default")


def _one(record: Derived, argument: Argument | Instead, given: Given) -> float:
    if isinstance(given, str) and "," in given:
        raise NotANumber(f"{record.name}: {argument.name} takes one number, not the list {given!r}")
    if not isinstance(given, str | int | float | Decimal | Fraction):
        raise NotANumber(f"{record.name}: {argument.name} takes one number, not the list {list(given)!r}")
    return _amount(record, argument, given)


def _list(record: Derived, argument: Argument, given: Given) -> tuple[float, ...]:
    items: Sequence[str | Number]
    if isinstance(given, str):
        items = [item.strip() for item in given.split(",")]
    elif isinstance(given, int | float | Decimal | Fraction):
        items = [given]
    else:
        items = list(given)
    if not items:
        raise NotANumber(f"{record.name}: {argument.name} is an empty list; give at least one number")
    carries = [bool(split_amount(item)[1]) if isinstance(item, str) else False for item in items]
    if any(carries) and not all(carries):
        # A trailing unit may be meant for all numbers or for the last alone.
        raise WrongUnit(
            f"{record.name}: some numbers of {argument.name} carry a unit and some do not; give it to every number, "
            f"or to none for {argument.unit}"
        )
    return tuple(_amount(record, argument, item) for item in items)


def _amount(record: Derived, argument: Argument | Instead, given: str | Number) -> float:
    """A number in the argument's unit, range checked, from a number or from text with or without a unit."""
    if isinstance(given, str) and len(given) > _LONGEST:
        raise NotANumber(
            f"{record.name}: {argument.name}: text of {len(given)} characters is no number; give {argument.range_text}"
        )
    text, symbol = split_amount(given) if isinstance(given, str) else (given, "")
    try:
        number = exact(text)
    except ValueRefused as refusal:
        reason = str(refusal) if text else f"{given!r} is not a number"
        raise NotANumber(
            f"{record.name}: {argument.name}: {reason}; give {argument.range_text} as a number in {argument.unit}, or "
            f'with a unit of its own as in {argument.name}="{plain(argument.low)} {argument.unit}"'
        ) from None
    value = _converted(record, argument, number, symbol) if symbol else number
    result = float(value)
    if not argument.contains(result):
        shown = with_unit(plain(float(number)), symbol or argument.unit)
        if symbol and symbol != argument.unit:
            shown += f" ({with_unit(f'{result:.6g}', argument.unit)})"
        raise OutOfRange(f"{record.name}: {argument.name} is {shown}; the formula holds for {argument.range_text}")
    return result


def _converted(record: Derived, argument: Argument | Instead, number: Fraction, symbol: str) -> Fraction:
    difference = isinstance(argument, Argument) and argument.difference
    try:
        return convert(number, _unit(symbol), _unit(argument.unit), difference=difference)
    except UnitError as refusal:
        raise WrongUnit(
            f"{record.name}: {argument.name} is in {argument.unit}, and {symbol!r} does not fit: {refusal}; "
            f"give {argument.range_text}"
        ) from None


def _unit(symbol: str) -> Unit:
    """A unit, or a unit per time such as degC/h."""
    known = UNITS.get(symbol)
    if known is None and "/" in symbol:
        try:
            return parse_rate_unit(symbol)
        except UnitError:
            # parse_unit's message names the nearest symbols.
            return parse_unit(symbol)
    return parse_unit(symbol)
