"""Through which door does a value in a given unit go to its point? Found once, then only whole-number arithmetic."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal

from adapters.intake import Arrived
from adapters.payloads.decoded import Decoded, quote
from rules.door import LARGEST_COUNT, Door, door
from rules.errors import UnitError, ValueRefused
from rules.flags import Flag
from rules.plan import PointPlan
from rules.units import Unit, parse_unit

_NEW = int(Flag.NOT_EVALUATED)
_MISSING = int(Flag.MISSING)


class QuickDoor:
    """A door's conversion without building rationals: `counts = round_half_even((value * a + b) / d)`.

    The same as Door.count for every Decimal; a property test says so.
    """

    __slots__ = ("_a", "_b", "_d", "is_own")

    def __init__(self, slow: Door, *, is_own: bool = False) -> None:
        """is_own: for values in the point's own unit."""
        self.is_own = is_own
        self._a = slow.scale.numerator * slow.offset.denominator
        self._b = slow.offset.numerator * slow.scale.denominator
        self._d = slow.scale.denominator * slow.offset.denominator

    def count(self, value: Decimal) -> tuple[int, bool]:
        """(counts, whether something was rounded away).

        Raises ValueRefused for NaN, infinities, and values that no probe could send or no count can hold.
        """
        if not value.is_finite():
            raise ValueRefused(f"{value} is not a finite number")
        size = value.adjusted()
        # Before the ratio is taken: 1E+999999 would become a number of a million digits.
        if size > 30 or (size < -60 and value):
            raise ValueRefused(f"{value} is out of any range that a probe could send")
        above, below = value.as_integer_ratio()
        divisor = below * self._d
        counts, rest = divmod(above * self._a + self._b * below, divisor)
        if not rest:
            inexact = False
        else:
            inexact = True
            twice = rest + rest
            if twice > divisor or (twice == divisor and counts & 1):
                counts += 1
        if not -LARGEST_COUNT <= counts <= LARGEST_COUNT:
            raise ValueRefused(f"{value} is too large for this point")
        return counts, inexact


class Doors:
    """The doors of a plan's points by unit symbol, each built at first use.

    parse: how a symbol is understood; SenML has symbols of its own (see senml_units). Only symbols that fit are
    kept, so a sender cannot make this grow.
    """

    def __init__(self, points: Mapping[str, PointPlan], parse: Callable[[str], Unit] = parse_unit) -> None:
        self.points = points
        self._parse = parse
        self._found: dict[tuple[str, str], QuickDoor] = {}

    def find(self, point: str, unit: str | None) -> QuickDoor:
        """The door of `point` for values in `unit`; None: the point's own unit.

        Raises KeyError for a point that the plan lacks, UnitError for a unit that is not known or does not fit.
        """
        key = (point, unit or "")
        found = self._found.get(key)
        if found is None:
            plan = self.points[point]
            try:
                given = self._parse(unit) if unit else plan.units
                slow = door(given, plan.units, plan.resolution)
                found = QuickDoor(slow, is_own=given.scale == plan.units.scale and not slow.offset)
            except ValueRefused as error:
                raise UnitError(str(error)) from None
            self._found[key] = found
        return found

    def admit(self, into: Decoded, point: str, time: int | None, value: object, unit: str | None) -> None:
        """Add the reading of `value`, as parsed from JSON with decimals, to `into`, or the refusal of it.

        A Decimal is converted, None is a missing reading, a boolean is 0 or 1 at a `state` point.
        """
        if type(value) is Decimal:
            try:
                way = self.find(point, unit)
                counts, inexact = way.count(value)
            except KeyError:
                into.refuse("unknown point", f"{quote(point)} is not in the plan")
            except UnitError as error:
                into.refuse("unit does not fit", f"{point}: {quote(str(error))}")
            except ValueRefused as error:
                into.refuse("too large" if value.is_finite() else "not a number", f"{point}: {quote(str(error))}")
            else:
                into.readings.append(Arrived(point, time, counts, _NEW))
                if inexact:
                    into.rounded += 1
                    if way.is_own:
                        into.coarse.append(point)
        elif point not in self.points:
            into.refuse("unknown point", f"{quote(point)} is not in the plan")
        elif value is None:
            into.readings.append(Arrived(point, time, 0, _MISSING))
        elif isinstance(value, bool):
            if self.points[point].quantity == "state":
                counts, inexact = self.find(point, None).count(Decimal(value))
                into.readings.append(Arrived(point, time, counts, _NEW))
                into.rounded += inexact
            else:
                into.refuse("not a number", f"{point} is no state; true and false are no value for it")
        else:
            into.refuse("not a number", f"{point}: {quote(value)} is not a number")
