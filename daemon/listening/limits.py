"""Which limits and rules does a first site file begin with? Starting values that the keeper's own weeks overrule."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from daemon.listening.guess import words_of
from rules.durations import SECOND, parse_duration, show_duration
from rules.quantities import QUANTITIES
from rules.suggested import SOURCE, suggested
from rules.units import convert, exact, parse_unit


class Band(NamedTuple):
    """Limits and the usual span of a probe in the quantity's own unit; deadband and delay are what the trade is used
    to, and are raised to what rules.suggested has for such a signal."""

    low: str | None
    high: str | None
    span: str
    deadband: str
    on_delay: str
    priority: str
    do: str


# Warm-water fish and tender trees; spans, deadbands and times are common practice, no source.
BANDS: dict[str, Band] = {
    "water_temperature": Band("18", "32", "50", "0.5", "10 min", "high", "check heater, shade and aeration"),
    "dissolved_oxygen": Band(
        "4", None, "20", "0.3", "10 min", "high", "run all air and let the return splash. No feed."
    ),
    "ph": Band("6.0", "7.6", "14", "0.1", "30 min", "medium", "test pH by hand; if true, test hardness and ammonia"),
    "air_temperature": Band("7", "36", "80", "1", "15 min", "high", "look at vents, door and heating"),
    "soil_temperature": Band("13", "32", "50", "1", "6 h", "medium", "look at the ground loop"),
    "conductivity": Band(None, "3000", "5000", "50", "30 min", "medium", "test by hand; if true, change some water"),
}
_COOL_WATER = Band("5", "19", "50", "0.5", "10 min", "high", "check shade, inflow and aeration")
_COOL_BELOW = 17
_OTHERS = frozenset(
    ("air", "blower", "fan", "vent", "heater", "light", "lamp", "mains", "battery", "batt", "solar", "gas", "wind")
)
"""Words of what has a current or a flow and is not the water's."""
_WHEN = (
    "Told when no bed has moved for an hour. A flow meter or the pump's current would tell within minutes.",
    "Told when little flows (or the pump draws little) and no bed has moved for 15 min.",
    "Told when two say so, though a bed still drains; or one, and no bed has moved for 15 min.",
)
_WHEN_ALONE = (
    "",
    "Told by one alone: a stuck meter would cry wolf. A second kind of evidence helps.",
    "Told when two say so. A pump behind a shut valve still draws current: the level of a bed would tell of that.",
)


class Chosen(NamedTuple):
    """One point of the file to be. middle: the median of what was heard, in `unit`; interval: ms.

    kept: a broker had it from before, and it did not come while we listened.
    """

    id: str
    quantity: str
    unit: str
    middle: Decimal
    interval: int
    address: str
    kept: bool = False


def rules_of(points: Sequence[Chosen]) -> list[str]:
    """The rules of a first site file, as text: water that stops, bands, and silence."""
    found = _stopped(points)
    for point in points:
        found += _band(point)
        if point.kept:
            found.append(f"# {point.id} did not come while we listened; how long it may be silent is for you to say.\n")
            continue
        found.append(
            f'[[rule]]\nid = "{point.id}.silent"\nkind = "silent"\npoint = "{point.id}"\npriority = "medium"\n'
            'do = "look yourself at what it measures; then check its cable and plug."\n'
        )
    return found


def _band(point: Chosen) -> list[str]:
    band = BANDS.get(point.quantity)
    if band is None:
        return []
    own, unit = parse_unit(QUANTITIES[point.quantity].unit), parse_unit(point.unit)
    middle = convert(exact(point.middle), unit, own)
    if point.quantity == "water_temperature" and middle < _COOL_BELOW:
        band = _COOL_WATER
    lines = ["[[rule]]", f'id = "{point.id}.span"', 'kind = "band"', f'point = "{point.id}"']
    for key, limit in (("low", band.low), ("high", band.high)):
        if limit is None:
            continue
        remark = ""
        outside = middle < exact(limit) if key == "low" else middle > exact(limit)
        if outside:
            span = max(abs(middle) / 10, Fraction(1))
            limit = f"{float(middle - span if key == 'low' else middle + span):.1f}"
            remark = f"   # what was heard ({point.middle} {point.unit}) lies outside the usual limit: is it right?"
        lines.append(f"{key} = {_amount(limit, point)}{remark}")
    deadband, delay, source = _calm(band, point.quantity)
    lines += [
        f"deadband = {_amount(deadband, point)}{source}",
        f'on_delay = "{delay}"',
        f'priority = "{band.priority}"',
        f'do = "{band.do}"',
    ]
    return ["\n".join(lines) + "\n"]


def _calm(band: Band, quantity: str) -> tuple[str, str, str]:
    """Deadband, on-delay, and where the deadband is from: the trade's, or more where more is suggested."""
    least = suggested(quantity)
    if least is None:
        return band.deadband, band.on_delay, ""
    delay = max(parse_duration(band.on_delay), least.delay or 0)
    part = least.deadband * exact(band.span)
    if part <= exact(band.deadband):
        return band.deadband, show_duration(delay), ""
    share = f"{float(least.deadband * 100):g} % of a span of {band.span}"
    return f"{float(part):g}", show_duration(delay), f"   # {share} ({SOURCE})"


def _amount(number: str, point: Chosen) -> str:
    own = QUANTITIES[point.quantity].unit
    return number if own == point.unit else f'"{number} {own}"'


def _stopped(points: Sequence[Chosen]) -> list[str]:
    """The rule that says that the water has stopped, where something tells of it.

    Flow and pump current tell at once, and two of them are believed though a bed still drains; one alone only once no
    bed has moved for a quarter of an hour. A pump that pushes against a shut valve goes on drawing current: then flow
    and still beds tell. Beds alone tell when they have been still for longer than their period (common practice, no
    source).
    """
    direct: list[tuple[Chosen, str]] = []
    beds: list[Chosen] = []
    for point in points:
        words = {word.rstrip("0123456789") for word in words_of(f"{point.address} {point.id}")}
        if point.quantity == "flow" and not words & _OTHERS:
            direct.append((point, f"under = {_part(point.middle, 4, '1')}, LASTING   # a quarter of what flows now"))
        elif point.quantity == "current" and not words & _OTHERS:
            direct.append(
                (point, f"under = {_part(point.middle, 2, '0.1')}, LASTING   # half of what the pump draws now")
            )
        elif point.quantity == "level" and "bed" in words:
            beds.append(point)
    if not direct and not beds:
        return [
            "# Nothing that was heard tells when the water stops. A flow meter in the return, the pump's current, or\n"
            "# the level of a bed do: add such a point and a rule of the kind stopped.\n"
        ]
    if direct and beds:
        # Two that tell at once weigh as much as one and every bed.
        weight, each, still, window, needed = 2 * len(beds), 2, "5 cm", "15 min", 4 * len(beds)
    else:
        weight, each, still, window, needed = 1, 1, "10 cm", "60 min", len(beds) or min(2, len(direct))
    evidence = []
    for point, told in direct:
        lasting = show_duration(max(90 * SECOND, 3 * point.interval))
        told = told.replace("LASTING", f'lasting = "{lasting}", weight = {weight} }},')
        evidence.append(f'{{ point = "{point.id}", {told}')
    evidence += [f'{{ point = "{bed.id}", still = "{still}", window = "{window}", weight = {each} }},' for bed in beds]
    lines = [
        f"# {_WHEN[min(2, len(direct))] if beds else _WHEN_ALONE[min(2, len(direct))]}",
        "[[rule]]",
        'id = "water.stopped"',
        'kind = "stopped"',
        f"needed = {needed}",
        'off_delay = "5 min"',
        'priority = "critical"',
        'title = "Water has stopped"',
        'do = "is the pump plugged in and its breaker on? If not running in 15 min, fit the spare; air up."',
        "evidence = [",
        *(f"  {line}" for line in evidence),
        "]",
        *_runway(points),
    ]
    return ["\n".join(lines) + "\n"]


def _runway(points: Sequence[Chosen]) -> list[str]:
    """How long there is, where oxygen is measured: 2 mg/L an hour without water (common practice, no source)."""
    found = next((point for point in points if point.quantity == "dissolved_oxygen"), None)
    if found is None:
        return []
    limit = _amount("3", found)
    return [f'runway = {{ point = "{found.id}", limit = {limit}, loss = "2 mg/L/h", harm = "fish are in danger" }}']


def _part(middle: Decimal, parts: int, otherwise: str) -> str:
    """One of so many parts, to two digits; where nothing flows just now, a value that a working pump exceeds."""
    return otherwise if middle <= 0 else f"{float(middle) / parts:.2g}"
