"""Which unit symbols are understood, and how does one convert to another exactly?

Symbols follow SenML (RFC 8428, RFC 8798) and UCUM; the everyday spellings of the trade are accepted beside them.
All factors are rationals, so that a conversion is exact until it is rounded once at the door.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from rules.errors import UnitError, ValueRefused


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: `base = value * scale + offset`, where base is the base unit of `dimension`.

    difference: it measures how far apart two values are, so that to and from it only scales convert.
    """

    symbol: str
    dimension: str
    scale: Fraction
    offset: Fraction = Fraction(0)
    difference: bool = False


_F = Fraction
_GALLON = _F(231) * _F(254, 10000) ** 3  # US gallon in m3: 231 cubic inches
_INCH = _F(254, 10000)
_MMHG = _F(101325, 760)  # conventional: 760 mmHg = 1 atm

_TABLE: dict[str, dict[str, tuple[Fraction, Fraction] | Fraction | int]] = {
    "temperature": {
        "K": 1,
        "degC": (_F(1), _F(27315, 100)),
        "degF": (_F(5, 9), _F(45967, 100) * _F(5, 9)),
    },
    "ratio": {"1": 1, "%": _F(1, 100), "%RH": _F(1, 100), "ppt": _F(1, 1000), "g/kg": _F(1, 1000)},
    "concentration": {
        "kg/m3": 1,
        "g/L": 1,
        "mg/L": _F(1, 1000),
        "g/m3": _F(1, 1000),
        "ug/L": _F(1, 10**6),
        "ug/m3": _F(1, 10**9),
    },
    "ph": {"pH": 1},
    "conductivity": {"S/m": 1, "mS/cm": _F(1, 10), "uS/cm": _F(1, 10**4), "mS/m": _F(1, 1000)},
    "length": {"m": 1, "cm": _F(1, 100), "mm": _F(1, 1000), "in": _INCH, "ft": 12 * _INCH},
    "area": {"m2": 1, "cm2": _F(1, 10**4), "ft2": (12 * _INCH) ** 2},
    "volume": {"m3": 1, "L": _F(1, 1000), "mL": _F(1, 10**6), "gal": _GALLON, "ft3": (12 * _INCH) ** 3},
    "flow": {
        "m3/s": 1,
        "m3/min": _F(1, 60),
        "m3/h": _F(1, 3600),
        "L/s": _F(1, 1000),
        "L/min": _F(1, 60000),
        "L/h": _F(1, 3600000),
        "gal/min": _GALLON / 60,
        "gal/h": _GALLON / 3600,
        "ft3/min": (12 * _INCH) ** 3 / 60,
    },
    "mass": {"kg": 1, "g": _F(1, 1000), "mg": _F(1, 10**6), "lb": _F(45359237, 10**8)},
    "current": {"A": 1, "mA": _F(1, 1000)},
    "voltage": {"V": 1, "mV": _F(1, 1000)},
    "power": {"W": 1, "kW": 1000},
    "energy": {"J": 1, "kJ": 1000, "Wh": 3600, "kWh": 3600000},
    "illuminance": {"lx": 1, "klx": 1000},
    "ppfd": {"mol/m2/s": 1, "umol/m2/s": _F(1, 10**6)},
    "light_integral": {"mol/m2/d": 1},
    "irradiance": {"W/m2": 1},
    "pressure": {
        "Pa": 1,
        "hPa": 100,
        "kPa": 1000,
        "bar": 100000,
        "mbar": 100,
        "atm": 101325,
        "mmHg": _MMHG,
        "inHg": _F(254, 10) * _MMHG,
        "psi": _F(45359237, 10**8) * _F(980665, 10**5) / _INCH**2,
        "mH2O": _F(980665, 100),
    },
    "time": {"s": 1, "ms": _F(1, 1000), "min": 60, "h": 3600, "d": 86400},
    "respiration": {"mg/kg/h": 1},
    "feed_ratio": {"g/m2/d": 1},
    "feed_rate": {"g/d": 1, "kg/d": 1000},
    "specific_heat": {"kJ/kg/K": 1},
    "specific_enthalpy": {"kJ/kg": 1},
    "specific_volume": {"m3/kg": 1},
    "exchange": {"1/h": 1, "1/min": 60},
    "chill": {"units": 1},
    "degree_days": {"degC d": 1},
    "turbidity": {"NTU": 1, "FNU": 1},
    "angle": {"deg": 1},
}

_ALSO: dict[str, str] = {
    "Cel": "degC", "°C": "degC", "C": "degC", "[degF]": "degF", "°F": "degF", "F": "degF",
    "/": "1", "count": "1", "/100": "%", "[pH]": "pH", "ph": "pH", "mg/l": "mg/L", "ug/l": "ug/L", "g/l": "g/L",
    "µg/L": "ug/L", "µS/cm": "uS/cm", "μS/cm": "uS/cm", "[in_i]": "in", "l": "L", "ml": "mL", "[gal_us]": "gal",
    "l/s": "L/s", "l/min": "L/min", "l/h": "L/h", "gpm": "gal/min", "m³": "m3", "m²": "m2", "m3/hr": "m3/h",
    "µmol/m²/s": "umol/m2/s", "μmol/m²/s": "umol/m2/s", "µmol/m2/s": "umol/m2/s", "lux": "lx",
    "mm[Hg]": "mmHg", "m[H2O]": "mH2O", "[psi]": "psi", "hr": "h", "sec": "s", "day": "d", "[ppth]": "ppt",
    "W/m²": "W/m2", "cfm": "ft3/min", "[in_i'Hg]": "inHg",
}  # fmt: skip


def _build() -> dict[str, Unit]:
    units: dict[str, Unit] = {}
    for dimension, members in _TABLE.items():
        for symbol, factor in members.items():
            scale, offset = factor if isinstance(factor, tuple) else (Fraction(factor), Fraction(0))
            units[symbol] = Unit(symbol, dimension, Fraction(scale), Fraction(offset))
    for spelling, symbol in _ALSO.items():
        units[spelling] = units[symbol]
    return units


UNITS: dict[str, Unit] = _build()
"""Every accepted spelling -> its unit."""


def parse_unit(symbol: str) -> Unit:
    """The unit of a symbol such as `degC`, `%`, `mg/L`.

    Raises UnitError with the nearest known symbols. `%` is per cent here; SenML's ratio sign is handled where
    SenML is decoded.
    """
    unit = UNITS.get(symbol.strip())
    if unit is None:
        near = difflib.get_close_matches(symbol.strip(), UNITS, n=3, cutoff=0.5)
        hint = f"; did you mean {' or '.join(near)}?" if near else ""
        raise UnitError(f"unit {symbol!r} is not known{hint}")
    return unit


def parse_rate_unit(symbol: str) -> Unit:
    """A unit per time, such as `degC/h` or `cm/min`: scale to base units a second, no offset.

    Raises UnitError where the part before the last `/` is no unit or the part after it no time.
    """
    above, slash, below = symbol.strip().rpartition("/")
    per = UNITS.get(below)
    if not slash or per is None or per.dimension != "time":
        raise UnitError(f"rate unit {symbol!r} must end in a time, as in degC/h")
    unit = parse_unit(above)
    return Unit(symbol.strip(), f"{unit.dimension} rate", unit.scale / per.scale)


def exact(value: Decimal | Fraction | int | float | str) -> Fraction:
    """The decimal that was written, as a rational; a float counts as its shortest text.

    Raises ValueRefused for text that is no number and for NaN and infinities.
    """
    if isinstance(value, Fraction):
        return value
    try:
        number = value if isinstance(value, Decimal) else Decimal(repr(value) if isinstance(value, float) else value)
    except InvalidOperation:
        raise ValueRefused(f"{value!r} is not a number") from None
    if not number.is_finite():
        raise ValueRefused(f"{value!r} is not a finite number")
    if number.adjusted() > 30 or (number and number.adjusted() < -60):
        raise ValueRefused(f"{value!r} is out of any range that a probe could send")
    return Fraction(number)


def convert(value: Fraction, unit: Unit, to: Unit, *, difference: bool = False) -> Fraction:
    """`value` in `unit` expressed in `to`, exactly.

    With `difference` (deadbands, spans, rises, tolerances), or where one of the units is of a difference, only the
    scale converts: 1 degF of deadband is 5/9 K. Raises UnitError where the dimensions differ.
    """
    if unit.dimension != to.dimension:
        raise UnitError(f"{unit.symbol} measures {unit.dimension}, not {to.dimension} ({to.symbol})")
    if difference or unit.difference or to.difference:
        return value * unit.scale / to.scale
    return (value * unit.scale + unit.offset - to.offset) / to.scale


def affine(unit: Unit, to: Unit) -> tuple[Fraction, Fraction]:
    """(offset, slope) of the conversion of one unit to another; raises UnitError where the dimensions differ."""
    offset = convert(Fraction(0), unit, to)
    return offset, convert(Fraction(1), unit, to) - offset


def split_amount(text: str) -> tuple[str, str]:
    """`"90 degF"` or `"90degF"` -> (`"90"`, `"degF"`); the unit may be empty."""
    text = text.strip()
    end = len(text)
    for index, char in enumerate(text):
        if char in "eE" and index + 1 < len(text) and (text[index + 1].isdigit() or text[index + 1] in "+-"):
            continue
        if not (char.isdigit() or char in "+-._"):
            end = index
            break
    return text[:end].strip(), text[end:].strip()


def with_unit(value: Decimal | int | str, unit: str) -> str:
    """`26.0 degC`: a number as it was written, with the unit that it is in; text with a unit of its own as it is."""
    text = str(value)
    return text if split_amount(text)[1] else f"{text} {unit}"


def parse_amount(value: Decimal | int | float | str, unit: Unit, *, difference: bool = False) -> Fraction:
    """A number in `unit`, or text that carries a unit of its own, as a rational in `unit`.

    Raises ValueRefused (no number) or UnitError (unknown or unfitting unit).
    """
    if isinstance(value, str):
        number, symbol = split_amount(value)
        if not number:
            raise ValueRefused(f"{value!r} is not a number")
        if symbol:
            return convert(exact(number), parse_unit(symbol), unit, difference=difference)
        return exact(number)
    return exact(value)


def parse_rate(value: Decimal | int | float | str, unit: Unit) -> Fraction:
    """A rate with its unit (`"0.5 degC/h"`) as a rational in `unit` per millisecond.

    Raises UnitError where the text names no rate unit or one of another dimension, ValueRefused for no number.
    """
    if not isinstance(value, str):
        raise UnitError(f'the rate {value} needs a unit, as in "{value} {unit.symbol}/h"')
    number, symbol = split_amount(value)
    if not symbol:
        raise UnitError(f'the rate {value} needs a unit, as in "{value} {unit.symbol}/h"')
    rate = parse_rate_unit(symbol)
    if rate.dimension != f"{unit.dimension} rate":
        raise UnitError(f"{symbol} does not measure a change of {unit.dimension} ({unit.symbol})")
    return exact(number) * rate.scale / unit.scale / 1000
