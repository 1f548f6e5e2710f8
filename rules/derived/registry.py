"""Which derived quantities are there?"""

from __future__ import annotations

from rules.derived import (
    air_streams,
    ammonia,
    chill,
    degree_days,
    evaporation,
    fish,
    hours,
    light,
    moist_air,
    nitrification,
    oxygen,
    pressure,
    runway,
    salinity,
    soil,
    vapour,
    water_loop,
    weir,
)
from rules.derived.errors import UnknownQuantity
from rules.derived.nearest import or_nearest
from rules.derived.record import Derived

_RECORDS: tuple[Derived, ...] = (
    *oxygen.DERIVED,
    *salinity.DERIVED,
    *ammonia.DERIVED,
    *nitrification.DERIVED,
    *fish.DERIVED,
    *runway.DERIVED,
    *water_loop.DERIVED,
    *weir.DERIVED,
    *evaporation.DERIVED,
    *vapour.DERIVED,
    *moist_air.DERIVED,
    *pressure.DERIVED,
    *air_streams.DERIVED,
    *light.DERIVED,
    *chill.DERIVED,
    *hours.DERIVED,
    *degree_days.DERIVED,
    *soil.DERIVED,
)

DERIVED: dict[str, Derived] = {record.name: record for record in _RECORDS}
"""Every derived quantity by its name, in the order in which they are listed to a person."""


def derived(name: str) -> Derived:
    """The derived quantity called `name`; raises UnknownQuantity with the nearest known names."""
    record = DERIVED.get(name)
    if record is None:
        raise UnknownQuantity(f"derived quantity {name!r} is not known{or_nearest(name, DERIVED)}")
    return record
