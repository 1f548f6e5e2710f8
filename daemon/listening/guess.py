"""What might a place measure, and in which unit? A guess with its reason, by words in the address and the values."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import NamedTuple

from daemon.listening.heard import Place
from rules.quantities import QUANTITIES
from rules.units import parse_unit


class Guess(NamedTuple):
    """quantity and unit as in a site file; why: in a few words; told: the keeper said so."""

    quantity: str
    unit: str
    why: str
    told: bool = False


_WATER = {"water", "tank", "pond", "fish", "sump", "aquarium"}
_SOIL = {"soil", "root", "ground", "earth", "pot"}
_WORDS: tuple[tuple[str, frozenset[str]], ...] = (
    # in this order: `water_temp` is a temperature before it is water
    ("temperature", frozenset(("temp", "temperature", "t", "temperatur", "tempc", "tempf", "thermo"))),
    ("soil_moisture", frozenset(("moisture", "vwc", "soilmoisture"))),
    ("relative_humidity", frozenset(("humidity", "rh", "hum", "relativehumidity", "humidityrelative"))),
    ("dissolved_oxygen", frozenset(("oxygen", "do", "o2"))),
    ("ph", frozenset(("ph",))),
    ("conductivity", frozenset(("ec", "conductivity", "electricalconductivity"))),
    ("flow", frozenset(("flow", "flowrate", "lpm"))),
    ("current", frozenset(("current", "amps", "ampere", "amp"))),
    ("voltage", frozenset(("voltage", "volt", "volts", "battery", "batt", "vbat"))),
    ("power", frozenset(("power", "watt", "watts"))),
    ("ppfd", frozenset(("ppfd", "par"))),
    ("illuminance", frozenset(("lux", "light", "illuminance", "lx"))),
    ("pressure", frozenset(("pressure", "baro", "barometer", "press"))),
    ("turbidity", frozenset(("turbidity", "ntu"))),
    ("level", frozenset(("level", "depth", "height", "distance"))),
)
_BY_UNIT = {
    "concentration": "dissolved_oxygen", "ph": "ph", "conductivity": "conductivity", "length": "level", "flow": "flow",
    "current": "current", "voltage": "voltage", "power": "power", "illuminance": "illuminance", "ppfd": "ppfd",
    "irradiance": "irradiance", "pressure": "pressure", "turbidity": "turbidity",
}  # fmt: skip


def words_of(address: str) -> list[str]:
    """The words of an address in small letters: at signs, blanks, changes of case."""
    parted = re.sub(r"([a-z])([A-Z])", r"\1 \2", address)
    return [word for word in re.split(r"[^a-z0-9]+", parted.lower()) if word]


def guess(place: Place) -> Guess | None:
    """The best guess, or None where nothing speaks for any quantity."""
    words = words_of(place.address)
    stems = [re.sub(r"[0-9]+$", "", word) for word in words]
    if place.flat:
        return Guess("state", "1", "it is true or false")
    if place.unit is not None:
        by_unit = _by_unit(place, stems)
        if by_unit is not None:
            return by_unit
    for quantity, named in reversed_by_place(stems):
        found = _in_unit(quantity, named, stems, place)
        if found is not None:
            return found
    if len(place.values) > 1 and set(place.values) <= {Decimal(0), Decimal(1)}:
        return Guess("state", "1", "it is 0 or 1")
    return None


def reversed_by_place(stems: list[str]) -> list[tuple[str, str]]:
    """(quantity, word) by the words of an address; the last word says most."""
    return [(quantity, stem) for stem in reversed(stems) for quantity, known in _WORDS if stem in known]


def _temperature(stems: list[str]) -> str:
    if _SOIL & set(stems):
        return "soil_temperature"
    return "water_temperature" if _WATER & set(stems) else "air_temperature"


def _by_unit(place: Place, stems: list[str]) -> Guess | None:
    symbol = place.unit or ""
    dimension = parse_unit(symbol).dimension
    if dimension == "temperature":
        quantity: str | None = _temperature(stems)
    elif dimension == "ratio":
        quantity = next((name for name, _ in reversed_by_place(stems) if QUANTITIES.get(name, QUANTITIES["ph"]).unit
                         in ("%", "1")), "relative_humidity" if symbol != "1" else "ratio")  # fmt: skip
    else:
        quantity = _BY_UNIT.get(dimension)
    if symbol == "1" and quantity is not None and QUANTITIES[quantity].unit == "%":
        return Guess(quantity, "%", "it is sent as a ratio")
    return None if quantity is None else Guess(quantity, symbol, f"it is sent in {symbol}")


def _in_unit(quantity: str, word: str, stems: list[str], place: Place) -> Guess | None:
    middle = place.middle
    said = f'"{word}" in its name'
    if quantity == "temperature":
        named = _temperature(stems)
        fahrenheit = bool({"f", "tempf", "degf", "fahrenheit"} & set(stems)) or 45 < middle <= 120
        unit = "degF" if fahrenheit else "degC"
        fits = Decimal(-50) <= middle <= Decimal(120)
        return Guess(named, unit, f"{said}, and {middle} is a likely {unit}") if fits else None
    units = {
        "conductivity": "mS/cm" if middle < 20 else "uS/cm",
        "current": "mA" if middle > 50 else "A",
        "voltage": "mV" if middle > 100 else "V",
        "pressure": "Pa" if middle > 20_000 else "hPa" if middle > 500 else "kPa",
        "level": next((unit for unit in ("mm", "cm", "m") if unit in stems), "cm"),
    }
    unit = units.get(quantity, QUANTITIES[quantity].unit)
    kind = QUANTITIES[quantity]
    factor = parse_unit(unit).scale / parse_unit(kind.unit).scale
    if not kind.low <= middle * Decimal(factor.numerator) / Decimal(factor.denominator) <= kind.high:
        return None
    if quantity == "dissolved_oxygen" and middle > 25:
        return None  # per cent of saturation, perhaps
    return Guess(quantity, unit, f"{said}, and {middle} is a likely {unit}")
