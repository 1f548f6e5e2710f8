"""What is known about a derived quantity: its formula, arguments, units, range and source?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rules.derived.errors import Contradiction, DerivedError, MissingArgument, UnknownArgument
from rules.derived.nearest import or_nearest

FloatOrArray = float | NDArray[np.float64]
"""What every formula takes and gives: one number, or a float64 array; arrays broadcast as in numpy."""


def plain(number: float) -> str:
    """A number as a person writes it: `40` and not `40.0`, never cut."""
    return repr(float(number)).removesuffix(".0")


def with_unit(text: str, unit: str) -> str:
    """A number's text and its unit; nothing is written for the unit 1."""
    return text if unit == "1" else f"{text} {unit}"


@dataclass(frozen=True, slots=True)
class Instead:
    """An argument that may be given in the place of another, such as an altitude for a pressure.

    `function` turns its value [`unit`] into that of the argument it stands in for.
    """

    name: str
    unit: str
    low: float
    high: float
    meaning: str
    function: Callable[[FloatOrArray], FloatOrArray]

    @property
    def range_text(self) -> str:
        """The range as text, `-500 to 10000 m`."""
        return with_unit(f"{plain(self.low)} to {plain(self.high)}", self.unit)

    def contains(self, values: FloatOrArray) -> NDArray[np.bool_]:
        """Where `values` [unit] lie in the range; NaN lies nowhere."""
        column = np.asarray(values, dtype=np.float64)
        return np.asarray((column >= self.low) & (column <= self.high))


@dataclass(frozen=True, slots=True)
class Argument:
    """One argument of a formula; `low` to `high` (ends included) is where the formula holds, in `unit`.

    default: taken when the argument is not given; None with `optional` False means that it must be given.
    optional: may be left out, and the formula then does without it.
    is_list: takes a list of numbers.
    difference: a span or change, which converts by scale alone (9 degF of difference is 5 K).
    choices: the only values allowed, where there are such.
    instead: another argument that may be given in its place.
    live_high: readings above `high` up to here count as `high` in `Derived.evaluate`, because a probe's own error
        puts them there (a humidity probe in saturated air shows 101 to 104 %). A number typed by hand is refused.
    """

    name: str
    unit: str
    low: float
    high: float
    meaning: str
    default: float | None = None
    optional: bool = False
    is_list: bool = False
    difference: bool = False
    choices: tuple[float, ...] = ()
    instead: Instead | None = None
    live_high: float | None = None

    @property
    def required(self) -> bool:
        """True if the formula cannot do without it."""
        return self.default is None and not self.optional

    @property
    def range_text(self) -> str:
        """The range as text, `0 to 40 degC`, or the choices, `1 or 2`."""
        if self.choices:
            return " or ".join(plain(choice) for choice in self.choices)
        return with_unit(f"{plain(self.low)} to {plain(self.high)}", self.unit)

    def contains(self, values: FloatOrArray) -> NDArray[np.bool_]:
        """Where `values` [unit] lie in the range; NaN lies nowhere."""
        column = np.asarray(values, dtype=np.float64)
        if self.choices:
            return np.isin(column, self.choices)
        return np.asarray((column >= self.low) & (column <= self.high))


@dataclass(frozen=True, slots=True)
class Requirement:
    """What the arguments must satisfy together; `text` completes the sentence "NAME needs ..."."""

    text: str
    holds: Callable[[Mapping[str, FloatOrArray]], NDArray[np.bool_] | bool]


@dataclass(frozen=True, slots=True)
class Derived:
    """A derived quantity: what it means, its pure formula and all that a reader needs to trust it.

    function: takes the arguments by name in their units and gives the value in `unit`.
    note: what else is to be said of the range.
    result_quantity: the name of the quantity (rules.quantities) that a derived point of this kind measures;
        None where none fits.
    """

    name: str
    meaning: str
    function: Callable[..., FloatOrArray]
    arguments: tuple[Argument, ...]
    unit: str
    equation: str
    source: str
    note: str = ""
    result_quantity: str | None = None
    requirements: tuple[Requirement, ...] = ()

    @property
    def valid_range(self) -> str:
        """The range of every argument, and the note, as one line of text."""
        return self.ranges + (f". {self.note}" if self.note else "")

    @property
    def ranges(self) -> str:
        """The range of every argument as one line of text."""
        ranges = []
        for argument in self.arguments:
            ranges.append(f"{argument.name} {argument.range_text}")
            if argument.instead is not None:
                ranges[-1] += f" (or {argument.instead.name} {argument.instead.range_text})"
        return "; ".join(ranges)

    @property
    def takes_lists(self) -> bool:
        """True if an argument is a list: such a quantity sums up a span and is not worked out reading by reading."""
        return any(argument.is_list for argument in self.arguments)

    @property
    def argument_names(self) -> tuple[str, ...]:
        """Every name that may be given, those that stand in for another included."""
        own = [argument.name for argument in self.arguments]
        return (*own, *(argument.instead.name for argument in self.arguments if argument.instead is not None))

    def refuse_unknown(self, given: Mapping[str, object]) -> None:
        """Raise UnknownArgument for the first name in `given` that the quantity does not take."""
        for name in given:
            if name not in self.argument_names:
                raise UnknownArgument(
                    f"{self.name} has no argument {name!r}; it takes {self.ranges}"
                    f"{or_nearest(name, self.argument_names, otherwise='')}"
                )

    def missing(self, argument: Argument) -> MissingArgument:
        """The error for a required argument that was not given."""
        return MissingArgument(
            f"{self.name} needs {argument.name} ({argument.meaning}, {argument.range_text}); give {argument.name}=VALUE"
        )

    def twice(self, argument: Argument, instead: Instead) -> Contradiction:
        """The error for an argument that was given together with its stand-in."""
        return Contradiction(f"{self.name}: give {argument.name} or {instead.name}, not both")

    def evaluate(self, columns: Mapping[str, FloatOrArray]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Work the quantity out for columns of readings: (values [unit], valid), both of the broadcast shape.

        columns: argument name -> float64 array or one number for all, in the argument's unit. Names of stand-ins are
        accepted; arguments with a default may be left out.
        A value is valid where every argument is a number inside its range and all requirements hold; elsewhere
        valid is False and the value NaN. Nothing is computed outside the range.
        Raises UnknownArgument, MissingArgument, Contradiction; DerivedError for a quantity that takes lists and for
        columns of different lengths.
        """
        if self.takes_lists:
            raise DerivedError(f"{self.name} sums up a list and has no value reading by reading")
        self.refuse_unknown(columns)
        shape = self._shape(columns)
        valid = np.ones(shape, dtype=np.bool_)
        inputs: dict[str, NDArray[np.float64]] = {}
        for argument in self.arguments:
            values = self._column(argument, columns, valid)
            if values is None:
                continue
            if argument.live_high is not None:
                over = (values > argument.high) & (values <= argument.live_high)
                values = np.where(over, argument.high, values)
            valid &= argument.contains(values)
            inputs[argument.name] = values
        for requirement in self.requirements:
            valid &= requirement.holds(inputs)
        result = np.full(shape, np.nan)
        if valid.any():
            # One number for all stays one number: no column of copies.
            picked: dict[str, FloatOrArray] = {
                name: np.broadcast_to(values, shape)[valid] if values.ndim else float(values)
                for name, values in inputs.items()
            }
            result[valid] = self.function(**picked)
            valid &= np.isfinite(result)
            result[~valid] = np.nan
        return result, valid

    def _shape(self, columns: Mapping[str, FloatOrArray]) -> tuple[int, ...]:
        try:
            return np.broadcast_shapes(*(np.shape(column) for column in columns.values()))
        except ValueError:
            shapes = ", ".join(f"{name} {np.shape(column)}" for name, column in columns.items())
            raise DerivedError(f"{self.name}: columns of different lengths do not go together: {shapes}") from None

    def _column(
        self, argument: Argument, columns: Mapping[str, FloatOrArray], valid: NDArray[np.bool_]
    ) -> NDArray[np.float64] | None:
        """The values of one argument, from its column, its stand-in or its default; None if left out."""
        instead = argument.instead
        if instead is not None and instead.name in columns:
            if argument.name in columns:
                raise self.twice(argument, instead)
            own = np.asarray(columns[instead.name], dtype=np.float64)
            inside = instead.contains(own)
            valid &= inside
            turned = np.asarray(instead.function(np.where(inside, own, instead.low)), dtype=np.float64)
            return np.where(inside, turned, np.nan)
        if argument.name in columns:
            return np.asarray(columns[argument.name], dtype=np.float64)
        if argument.required:
            raise self.missing(argument)
        return None if argument.default is None else np.asarray(argument.default, dtype=np.float64)
