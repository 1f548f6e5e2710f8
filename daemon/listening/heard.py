"""What has been heard from each place: how often, between which values, how fine?"""

from __future__ import annotations

import statistics
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

Keys = Mapping[str, str | int | Decimal]
"""Keys of an adapter's table in a site file."""
MOST_PLACES = 500
"""A sender that makes up addresses cannot fill the memory."""
_MOST_KEPT = 1000


@dataclass(slots=True)
class Place:
    """One value that comes from one place.

    address: as it is shown, such as a topic with a JSON Pointer; how: the adapter's own keys for it (topic, value,
    column, ...); unit: the sender's, where it says; flat: whether it was true or false.
    """

    address: str
    how: Keys
    unit: str | None = None
    flat: bool = False
    values: list[Decimal] = field(default_factory=list)
    times: list[float] = field(default_factory=list)

    @property
    def interval(self) -> float | None:
        """Seconds between two values in the middle of all; None where only one has come."""
        gaps = [later - earlier for earlier, later in zip(self.times, self.times[1:], strict=False)]
        return statistics.median(gaps) if gaps else None

    @property
    def places(self) -> int:
        """Decimal places of the finest value."""
        return max((max(0, -int(value.as_tuple().exponent)) for value in self.values), default=0)

    def times_factor(self, factor: Decimal) -> Place:
        """The same, with each value multiplied by `factor`, which its adapter calls scale."""
        return replace(self, how={**self.how, "scale": factor}, values=[value * factor for value in self.values])

    @property
    def middle(self) -> Decimal:
        """The median of the values."""
        return statistics.median(self.values)


class Heard:
    """All places, in the order in which they were first heard. what_not: texts that hold no number, by address."""

    def __init__(self) -> None:
        self.places: dict[str, Place] = {}
        self.what_not: dict[str, str] = {}
        self.left_out = 0

    def add(
        self,
        address: str,
        how: Keys,
        value: Decimal | bool,
        at: float | None,
        unit: str | None = None,
    ) -> Place | None:
        """Note one value heard at `at` (monotonic seconds; None: before we listened); the place where it is new."""
        number = Decimal(value) if isinstance(value, bool) else value
        if not number.is_finite() or abs(number.adjusted()) > 15:
            self.what_not.setdefault(address, str(number))
            return None
        place = self.places.get(address)
        new = place is None
        if place is None:
            if len(self.places) >= MOST_PLACES:
                self.left_out += 1
                return None
            place = self.places[address] = Place(address, how, unit, isinstance(value, bool))
        if len(place.values) < _MOST_KEPT:
            place.values.append(number)
            if at is not None:
                place.times.append(at)
        return place if new else None
