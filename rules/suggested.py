"""Which deadband and which delays suit a signal to begin with?

Deadbands in part of the range as EEMUA 191 gives them by signal type, quoted in several texts (other guides have 5 %
for levels); delays as the same texts give them, from memory of those. They are where to begin, not where to end: the
place's own recorded weeks overrule them.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from rules.durations import MINUTE, SECOND

SOURCE = "EEMUA 191, as quoted"


class Suggestion(NamedTuple):
    """signal: its type; deadband: part of the range; delay: of onset and return, ms, None where none is given."""

    signal: str
    deadband: Fraction
    delay: int | None


FLOW = Suggestion("flow", Fraction(5, 100), 15 * SECOND)
LEVEL = Suggestion("level", Fraction(2, 100), MINUTE)
PRESSURE = Suggestion("pressure", Fraction(2, 100), 15 * SECOND)
TEMPERATURE = Suggestion("temperature", Fraction(1, 100), MINUTE)
COMPOSITION = Suggestion("composition", Fraction(1, 100), None)

_BY_QUANTITY = {
    "flow": FLOW,
    "level": LEVEL,
    "pressure": PRESSURE,
    "air_temperature": TEMPERATURE,
    "water_temperature": TEMPERATURE,
    "soil_temperature": TEMPERATURE,
    "equipment_temperature": TEMPERATURE,
    "temperature_difference": TEMPERATURE,
    "dissolved_oxygen": COMPOSITION,
    "ph": COMPOSITION,
    "conductivity": COMPOSITION,
    "concentration": COMPOSITION,
    "relative_humidity": COMPOSITION,
    "soil_moisture": COMPOSITION,
    "turbidity": COMPOSITION,
}


def suggested(quantity: str) -> Suggestion | None:
    """For a quantity; None where nothing is given for such signals."""
    return _BY_QUANTITY.get(quantity)
