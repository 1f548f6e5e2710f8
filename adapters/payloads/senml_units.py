"""What does a unit symbol mean in SenML? RFC 8428 section 12.1, and the secondary units of RFC 8798.

Some symbols mean another thing here than elsewhere: `%` is a ratio (0 to 1), `C` coulomb, `F` farad, `H` henry.
"""

from __future__ import annotations

from fractions import Fraction

from rules.units import UNITS, Unit, parse_unit

_F = Fraction

_SAME = (
    "m", "kg", "g", "s", "A", "K", "Pa", "J", "W", "V", "lx", "m2", "m3", "m3/s", "W/m2", "S/m", "pH", "Cel",
    "kg/m3", "NTU", "ms", "min", "h", "kW", "Wh", "kWh", "mV", "mA", "ug/m3", "hPa", "mm", "cm",
)  # fmt: skip
"""Symbols that mean what rules.units takes them for."""

_OWN: dict[str, tuple[str, Fraction, Fraction]] = {
    # symbol: (dimension, factor to its base unit, offset)
    "/": ("ratio", _F(1), _F(0)),
    "%": ("ratio", _F(1), _F(0)),  # RFC 8428: a ratio, in spite of the sign
    "count": ("ratio", _F(1), _F(0)),
    "%RH": ("ratio", _F(1, 100), _F(0)),
    "%EL": ("ratio", _F(1, 100), _F(0)),
    "/100": ("ratio", _F(1, 100), _F(0)),
    "/1000": ("ratio", _F(1, 1000), _F(0)),
    "ppm": ("ratio", _F(1, 10**6), _F(0)),
    "EL": ("time", _F(1), _F(0)),
    "1/s": ("exchange", _F(3600), _F(0)),
    "1/min": ("exchange", _F(60), _F(0)),
    "l": ("volume", _F(1, 1000), _F(0)),
    "l/s": ("flow", _F(1, 1000), _F(0)),
    "km": ("length", _F(1000), _F(0)),
    "J/m": ("energy per length", _F(1), _F(0)),
    "Wh/km": ("energy per length", _F(36, 10), _F(0)),
    "m/s": ("speed", _F(1), _F(0)),
    "mm/h": ("speed", _F(1, 3_600_000), _F(0)),
    "m/h": ("speed", _F(1, 3600), _F(0)),
    "km/h": ("speed", _F(1000, 3600), _F(0)),
    "Hz": ("frequency", _F(1), _F(0)),
    "MHz": ("frequency", _F(10**6), _F(0)),
    "dBW": ("power level", _F(1), _F(0)),
    "dBm": ("power level", _F(1), _F(-30)),
    "VA": ("apparent power", _F(1), _F(0)),
    "kVA": ("apparent power", _F(1000), _F(0)),
    "var": ("reactive power", _F(1), _F(0)),
    "kvar": ("reactive power", _F(1000), _F(0)),
    "VAs": ("apparent energy", _F(1), _F(0)),
    "kVAh": ("apparent energy", _F(3_600_000), _F(0)),
    "vars": ("reactive energy", _F(1), _F(0)),
    "varh": ("reactive energy", _F(3600), _F(0)),
    "kvarh": ("reactive energy", _F(3_600_000), _F(0)),
    "C": ("charge", _F(1), _F(0)),
    "Ah": ("charge", _F(3600), _F(0)),
    "B": ("data", _F(1), _F(0)),
    "bit": ("data", _F(1, 8), _F(0)),
    "KiB": ("data", _F(1024), _F(0)),
    "GB": ("data", _F(10**9), _F(0)),
    "B/s": ("data rate", _F(1), _F(0)),
    "bit/s": ("data rate", _F(1, 8), _F(0)),
    "MB/s": ("data rate", _F(10**6), _F(0)),
    "Mbit/s": ("data rate", _F(10**6, 8), _F(0)),
    "rad": ("angle", _F(1), _F(0)),
    "m/s2": ("acceleration", _F(1), _F(0)),
}
"""Symbols with a meaning of their own here, or measures that no point of ours has.

The list of RFC 8428 and the factors of RFC 8798 that the tests do not name are from memory.
"""

_ALONE = (
    "cd", "mol", "sr", "N", "F", "Ohm", "S", "Wb", "T", "H", "lm", "Bq", "Gy", "Sv", "kat", "cd/m2",
    "lat", "lon", "dB", "Bspl", "beat/min", "beats", "deg",
)  # fmt: skip
"""Symbols that convert to nothing else."""


def _build() -> dict[str, Unit]:
    units = {symbol: UNITS[symbol] for symbol in _SAME}
    units.update({symbol: Unit(symbol, *rest) for symbol, rest in _OWN.items()})
    units.update({symbol: Unit(symbol, f"senml {symbol}", Fraction(1)) for symbol in _ALONE})
    return units


SENML_UNITS: dict[str, Unit] = _build()
"""Symbol -> unit, as SenML means it."""


def parse_senml_unit(symbol: str) -> Unit:
    """The unit that `symbol` names in SenML.

    SenML has no symbol for mg/L, uS/cm and others of the trade: a symbol that it does not define is taken as
    everywhere else. Raises UnitError for one that is known nowhere.
    """
    return SENML_UNITS.get(symbol) or parse_unit(symbol)


def everyday(unit: Unit) -> Unit:
    """The unit of rules.units that is the same measure, where there is one: SenML's `%` is `1` everywhere else."""
    same = [other for other in UNITS.values() if _measure(other) == _measure(unit)]
    return next((other for other in same if other.symbol == unit.symbol), same[0] if same else unit)


def _measure(unit: Unit) -> tuple[str, Fraction, Fraction]:
    return unit.dimension, unit.scale, unit.offset
