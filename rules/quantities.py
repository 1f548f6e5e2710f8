"""What can a point measure? A quantity owns its canonical unit, dimension, plausible span and resolution."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from fractions import Fraction

from rules.errors import SettingError, UnitError
from rules.units import Unit, convert, parse_unit


@dataclass(frozen=True, slots=True)
class Quantity:
    """A measurable quantity; `low` and `high` are the plausible span and `resolution` the default, in `unit`."""

    name: str
    unit: str
    low: Fraction
    high: Fraction
    resolution: Fraction
    difference: bool = False
    """Whether it is how far apart two values of its dimension are."""

    def accepts(self, symbol: str) -> Unit:
        """The unit of `symbol` if it measures this quantity; raises UnitError that names units that do."""
        unit = parse_unit(symbol)
        own = parse_unit(self.unit)
        if unit.dimension != own.dimension:
            raise UnitError(f"{self.name} is not measured in {symbol!r}; {self.unit} would do")
        if self.difference and unit != own:
            # A store that knows no more than "5 degF" could not tell five degrees apart from five degrees of cold.
            raise UnitError(f"{self.name} is kept in {self.unit}, not in {symbol!r}; its limits may be in any unit")
        return unit

    def default_resolution(self, unit: Unit) -> Fraction:
        """The default in `unit`: the largest power of ten that is no coarser than the canonical one."""
        wanted = convert(self.resolution, parse_unit(self.unit), unit, difference=True)
        step = Fraction(1)
        while step > wanted:
            step /= 10
        while step * 10 <= wanted:
            step *= 10
        return step


def _q(name: str, unit: str, low: str, high: str, resolution: str, *, difference: bool = False) -> Quantity:
    return Quantity(name, unit, Fraction(low), Fraction(high), Fraction(resolution), difference)


# Spans are what a working probe in such a place can show (common practice, no source).
QUANTITIES: dict[str, Quantity] = {
    q.name: q
    for q in (
        _q("air_temperature", "degC", "-50", "70", "0.01"),
        _q("water_temperature", "degC", "-5", "60", "0.001"),
        _q("soil_temperature", "degC", "-30", "60", "0.01"),
        _q("equipment_temperature", "degC", "-40", "150", "0.1"),
        _q("temperature_difference", "K", "-200", "200", "0.01", difference=True),
        _q("relative_humidity", "%", "0", "105", "0.1"),
        _q("soil_moisture", "%", "0", "100", "0.1"),
        _q("dissolved_oxygen", "mg/L", "0", "40", "0.001"),
        _q("ph", "pH", "0", "14", "0.001"),
        _q("conductivity", "uS/cm", "0", "100000", "0.1"),
        _q("level", "mm", "-10000", "10000", "0.1"),
        _q("flow", "L/min", "-1000", "10000", "0.01"),
        _q("current", "A", "-100", "100", "0.001"),
        _q("voltage", "V", "-1000", "1000", "0.001"),
        _q("power", "W", "-100000", "100000", "0.1"),
        _q("illuminance", "lx", "0", "200000", "1"),
        _q("ppfd", "umol/m2/s", "0", "3000", "0.1"),
        _q("irradiance", "W/m2", "-50", "2000", "0.1"),
        _q("pressure", "kPa", "0", "2000", "0.001"),
        _q("state", "1", "-1000000", "1000000", "1"),
        _q("count", "1", "0", "1000000000", "1"),
        _q("ratio", "1", "-1000", "1000", "0.0001"),
        _q("concentration", "mg/L", "0", "100000", "0.0001"),
        _q("humidity_ratio", "g/kg", "0", "200", "0.001"),
        _q("volume", "L", "-100000", "10000000", "0.1"),
        _q("mass", "g", "0", "10000000", "1"),
        _q("duration", "min", "0", "1000000", "0.001"),
        _q("hours_left", "h", "0", "100000", "0.01"),
        _q("turbidity", "NTU", "0", "10000", "0.01"),
    )
}


def quantity(name: str) -> Quantity:
    """The quantity called `name`; raises SettingError with the nearest known names."""
    found = QUANTITIES.get(name)
    if found is None:
        near = difflib.get_close_matches(name, QUANTITIES, n=3, cutoff=0.5)
        hint = f"; did you mean {' or '.join(near)}?" if near else f"; known: {', '.join(QUANTITIES)}"
        raise SettingError(f"quantity {name!r} is not known{hint}")
    return found
