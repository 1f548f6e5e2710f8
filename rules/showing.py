"""How is a number shown to the keeper? In the units of their choice, with no more digits than mean something."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

from rules.plan import Plan, PointPlan
from rules.units import convert, exact, parse_unit

_SIGNS = {"degC": "°C", "degF": "°F", "uS/cm": "µS/cm", "umol/m2/s": "µmol/m²/s", "1": "", "pH": ""}
_DECIMALS = {
    "ph": 2,
    "current": 1,
    "level": 0,
    "relative_humidity": 0,
    "soil_moisture": 0,
    "illuminance": 0,
    "state": 0,
    "count": 0,
}
_AT_MOST = {"concentration": 3, "volume": 1, "conductivity": 1}
"""Quantities that are shown as finely as the point resolves them, and with how many digits at most: a thousandth of
ammonia matters, a tenth of all the water does not."""
_GALLONS = {"L": "gal", "L/min": "gal/min", "L/h": "gal/h"}


YES, NO = "yes", "no"
"""What a contact or a switch shows."""


def shown_unit(plan: Plan, unit: str) -> str:
    """The unit in which values of `unit` are shown."""
    dimension = parse_unit(unit).dimension
    if dimension == "temperature":
        return plan.temperature_unit
    return _GALLONS.get(unit, unit) if plan.volume_unit == "gal" else unit


def show(plan: Plan, point: PointPlan, counts: Fraction | int, *, difference: bool = False) -> str:
    """`6.8 mg/L`, `11.2 °C`, `yes`: a value in counts of `point`, in the keeper's unit."""
    if point.quantity == "state" and counts * point.resolution in (0, 1):
        return YES if counts else NO
    unit = shown_unit(plan, point.unit)
    value = convert(counts * point.resolution, point.units, parse_unit(unit), difference=difference)
    decimals = _decimals(point, unit)
    sign = _SIGNS.get(unit, unit)
    return f"{float(round(value, decimals)):.{decimals}f}{' ' + sign if sign else ''}"


def show_number(plan: Plan, number: str, unit: str, *, difference: bool = False) -> str:
    """`78.8 °F`: a number in `unit` as it was written, or to a tenth where the keeper chose another unit."""
    shown = shown_unit(plan, unit)
    if shown != unit:
        value = convert(exact(number), parse_unit(unit), parse_unit(shown), difference=difference)
        number = f"{float(round(value, 1)):.1f}"
    sign = _SIGNS.get(shown, shown)
    return f"{number} {sign}" if sign else number


_LIMIT = re.compile(
    r"\b(limit|under|over|than) (-?[0-9]+(?:\.[0-9]+)?) (degC|degF|L|L/min|L/h|gal|gal/min|gal/h|1)(?![\w/])"
)


def show_why(plan: Plan, why: str) -> str:
    """A rule's reason, its limits (`limit 26.0 degC`) and differences (`more than 2 degC`) in the keeper's units."""
    if why.startswith("by "):  # a person's own words
        return why
    return _LIMIT.sub(
        lambda found: f"{found[1]} {show_number(plan, found[2], found[3], difference=found[1] == 'than')}", why
    )


def _decimals(point: PointPlan, unit: str) -> int:
    """How many digits after the point mean something in `unit`."""
    most = _AT_MOST.get(point.quantity)
    if most is None:
        return _DECIMALS.get(point.quantity, 1)
    if unit != point.unit:
        return 1
    return next((n for n in range(most) if (point.resolution * 10**n).denominator == 1), most)


class Rough(NamedTuple):
    """A span rounded so that it does not pretend: so many days, or hours and minutes; all 0 for under a minute."""

    days: int
    hours: int
    minutes: int


def rough(ms: int) -> Rough:
    """`2 h 15`, `25 min`, `3 days`: to 5 min under an hour, to quarters under four, to hours under two days."""
    minutes = ms / 60_000
    if minutes < 1:
        return Rough(0, 0, 0)
    if minutes < 10:
        return Rough(0, 0, round(minutes))
    if minutes < 55:
        return Rough(0, 0, 5 * round(minutes / 5))
    if minutes < 240:
        hours, rest = divmod(round(minutes / 15), 4)
        return Rough(0, hours, 15 * rest)
    if minutes < 48 * 60:
        return Rough(0, round(minutes / 60), 0)
    return Rough(round(minutes / 1440), 0, 0)


def show_rate(plan: Plan, point: PointPlan, per_hour: Fraction) -> str:
    """`1.4`, `0.25`, `15`: a change an hour in counts of `point`, without its sign, in the keeper's unit."""
    unit = parse_unit(shown_unit(plan, point.unit))
    value = abs(float(convert(per_hour * point.resolution, point.units, unit, difference=True)))
    return f"{value:.0f}" if value >= 9.95 else f"{value:.1f}" if value >= 0.95 else f"{value:.2g}"


def fitted(text: str, size: int) -> str:
    """`text`, cut at a word so that it has at most `size` characters."""
    if len(text) <= size:
        return text
    cut = text[: size - 1].rsplit(" ", 1)[0].rstrip(" ,;:")
    return cut + "…"
