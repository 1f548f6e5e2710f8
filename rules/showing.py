"""How is a number shown to the keeper? In the units of their choice, with no more digits than mean something."""

from __future__ import annotations

from fractions import Fraction

from rules.plan import Plan, PointPlan
from rules.units import convert, parse_unit

_SIGNS = {"degC": "°C", "degF": "°F", "uS/cm": "µS/cm", "umol/m2/s": "µmol/m²/s", "1": "", "pH": ""}
_DECIMALS = {
    "ph": 2,
    "current": 1,
    "level": 0,
    "relative_humidity": 0,
    "soil_moisture": 0,
    "illuminance": 0,
    "state": 0,
}
_GALLONS = {"L": "gal", "L/min": "gal/min", "L/h": "gal/h"}


def shown_unit(plan: Plan, unit: str) -> str:
    """The unit in which values of `unit` are shown."""
    dimension = parse_unit(unit).dimension
    if dimension == "temperature":
        return plan.temperature_unit
    return _GALLONS.get(unit, unit) if plan.volume_unit == "gal" else unit


def show(plan: Plan, point: PointPlan, counts: Fraction | int, *, difference: bool = False) -> str:
    """`6.8 mg/L`, `11.2 °C`: a value in counts of `point`, in the keeper's unit."""
    unit = shown_unit(plan, point.unit)
    value = convert(counts * point.resolution, parse_unit(point.unit), parse_unit(unit), difference=difference)
    decimals = min(_DECIMALS.get(point.quantity, 1), 6)
    sign = _SIGNS.get(unit, unit)
    return f"{float(round(value, decimals)):.{decimals}f}{' ' + sign if sign else ''}"


def show_left(ms: int) -> str:
    """A span to act in, in words that do not pretend: `about 2 h`, `about 1 h 30`, `about 25 min`."""
    minutes = ms / 60_000
    if minutes < 1:
        return "less than a minute"
    if minutes < 10:
        return f"about {round(minutes)} min"
    if minutes < 55:
        return f"about {5 * round(minutes / 5)} min"
    quarters = round(minutes / 15)
    if minutes < 240:
        hours, rest = divmod(quarters, 4)
        return f"about {hours} h" + (f" {15 * rest}" if rest else "")
    if minutes < 48 * 60:
        return f"about {round(minutes / 60)} h"
    return f"about {round(minutes / 1440)} days"


def fitted(text: str, size: int) -> str:
    """`text`, cut at a word so that it has at most `size` characters."""
    if len(text) <= size:
        return text
    cut = text[: size - 1].rsplit(" ", 1)[0].rstrip(" ,;:")
    return cut + "…"
