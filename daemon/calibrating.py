"""How does what a keeper found with buffers, ice or a hand meter become a calibration, and what does it tell?"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from rules.calibration import Record, air_saturation, electrode_efficiency, one_point, two_points
from rules.derived.calc import calculate
from rules.errors import SettingError
from rules.plan import PointPlan
from rules.units import convert, exact, parse_amount, parse_unit

METHODS = ("one-point", "two-point", "polynomial", "air", "none")
ROOM = "25"
"""degC, where the temperature of the buffers is not told."""
_WORN, _ODD = 85, 105
"""Per cent of the Nernst slope: under the first an electrode is worn, beyond the second a buffer was mistaken (common
practice, no source)."""
_NO_ELECTRODE = 50, 120
"""Per cent of it that no electrode and no mistake of a few tenths explains: then something else was typed."""
_BUFFERS = 0, 60
"""degC that buffers may have."""
_NO_MEMBRANE = Fraction(1, 2), Fraction(2)
"""Share of the saturation that an oxygen probe in mg/L shows in air: outside, it is broken and not to be calibrated."""


class Made(NamedTuple):
    """A calibration that holds from `effective` on (0: from when the daemon takes it), and remarks for the keeper."""

    record: Record
    remarks: list[str]


def make(point: PointPlan, method: str, found: Sequence[str], effective: int, note: str) -> Made:
    """What `found` says: `SHOWN=TRUE` pairs, coefficients of a polynomial, or what the probe shows in air.

    Raises SettingError, UnitError, ValueRefused with how to write it.
    """
    raw_unit = parse_unit(point.raw.unit)
    remarks: list[str] = []
    found = [item.strip() for item in found]
    conditions = dict(item.split("=", 1) for item in found if item.partition("=")[0].isidentifier() and "=" in item)
    plain = [item for item in found if item.partition("=")[0] not in conditions]
    allowed = {"air": ("temperature", "pressure", "altitude", "salinity"), "two-point": ("temperature",)}
    for key in conditions:
        if key not in allowed.get(method, ()):
            raise SettingError(f"{key}= does not belong to {method}; it takes {_form(method)}")
    if method == "none":
        _expect(plain, 0, method)
        if raw_unit.dimension != point.units.dimension:
            raise SettingError(f"{point.id} sends {raw_unit.symbol}: without a calibration that means nothing")
        coefficients: tuple[Fraction, ...] = (Fraction(0), Fraction(1))
        return Made(_record(point, coefficients, point.unit, method, "", effective, note), remarks)
    if method == "polynomial":
        if not 2 <= len(plain) <= 6:
            raise SettingError(f"a polynomial takes {_form(method)}")
        coefficients = tuple(exact(text) for text in plain)
        if not any(coefficients[1:]):
            raise SettingError(
                "by these coefficients the probe reads the same whatever it shows; the second is its slope"
            )
        return Made(_record(point, coefficients, raw_unit.symbol, method, " ".join(plain), effective, note), remarks)
    if method == "air":
        _expect(plain, 1, method)
        shown = parse_amount(plain[0], raw_unit)
        if point.quantity != "dissolved_oxygen":
            raise SettingError(f"air is for oxygen probes; {point.id} measures {point.quantity}")
        if "temperature" not in conditions or not {"pressure", "altitude"} & set(conditions):
            raise SettingError(f"the saturation in air depends on the day: {_form(method)}")
        conditions.setdefault("salinity", "0")
        true = parse_amount(f"{calculate('oxygen_saturation', conditions).value:.4f} mg/L", point.units)
        low, high = _NO_MEMBRANE
        if raw_unit.dimension == point.units.dimension and not low <= shown / true <= high and shown > 0:
            raise SettingError(
                f"the probe shows {float(shown):g} where air-saturated water holds {float(true):.2f} {point.unit}: "
                "that is no drift; check what was typed, and its membrane, before it is calibrated"
            )
        remarks.append(f"air-saturated water holds {float(true):.2f} {point.unit} there")
        coefficients = air_saturation(shown, true)
        pairs = f"{plain[0]}={float(true):.4g}"
    else:
        pairs_found = [_pair(item, point) for item in plain]
        is_alike = raw_unit.dimension == point.units.dimension
        for shown, true in pairs_found:
            _plausible(point, true, "be true")
            if is_alike:
                _plausible(point, convert(shown, raw_unit, point.units), "be shown")
        pairs = " ".join(plain)
        if method == "one-point":
            _expect(plain, 1, method)
            if not is_alike:
                raise SettingError(f"{point.id} sends {raw_unit.symbol}: one point gives no slope; use two-point")
            coefficients = one_point(*pairs_found[0])
        else:
            _expect(plain, 2, method)
            coefficients = two_points(*pairs_found)
            if point.quantity == "ph" and raw_unit.dimension == "voltage":
                remarks.append(_electrode(point, pairs_found, conditions.get("temperature", ROOM)))
            if not coefficients[1] or (is_alike and coefficients[1] < 0):
                raise SettingError(
                    "by these pairs the probe reads the same or less where it shows more; write each as SHOWN=TRUE"
                )
    return Made(_record(point, coefficients, raw_unit.symbol, method, pairs, effective, note), remarks)


def drift(before: Record | None, after: Record, point: PointPlan) -> list[str]:
    """How far off the probe had come since the last calibration, at each pair of the new one."""
    if before is None or not after.pairs or "=" not in after.pairs:
        return []
    raw_unit = parse_unit(point.raw.unit)
    old = Record(0, 0, before.between(raw_unit, point.units))
    lines = []
    for item in after.pairs.split():
        raw, true = _pair(item, point)
        off = old.value(raw) - true
        lines.append(f"at {float(true):g} {point.unit} it had come to read {float(off):+.3g} {point.unit}")
    return lines


def _electrode(point: PointPlan, pairs: Sequence[tuple[Fraction, Fraction]], temperature: str) -> str:
    celsius = float(parse_amount(temperature, parse_unit("degC")))
    if not _BUFFERS[0] <= celsius <= _BUFFERS[1]:
        raise SettingError(f"temperature={temperature}: buffers have {_BUFFERS[0]} to {_BUFFERS[1]} degC")
    raw_unit, mv = parse_unit(point.raw.unit), parse_unit("mV")
    first, second = ((raw * raw_unit.scale / mv.scale, ph) for raw, ph in pairs)
    share = electrode_efficiency(first, second, celsius)
    if not _NO_ELECTRODE[0] <= share <= _NO_ELECTRODE[1]:
        raise SettingError(
            f"these pairs make {share:.1f} % of the Nernst slope at {celsius:g} degC, which no electrode has "
            f"(95 to 102 is new, under {_WORN} worn); check the mV and the buffers"
        )
    if share < _WORN:
        end = ": worn; clean it, and replace it if that does not help"
    else:
        end = ": more than there can be; check the buffers" if share > _ODD else ""
    (mv1, ph1), (mv2, ph2) = first, second
    if (mv2 - mv1) * (ph2 - ph1) > 0:
        end += "; it shows more mV at the higher pH: unless its amplifier turns the sign, the buffers were swapped"
    return f"the electrode reaches {share:.1f} % of the Nernst slope at {celsius:g} degC{end}"


def _plausible(point: PointPlan, value: Fraction, what: str) -> None:
    """Raises SettingError for a value (in the point's unit) far outside the plausible span of its quantity.

    Far is the width of the span: a water probe may be held into boiling water.
    """
    kind = point.kind
    low, high = (convert(edge, parse_unit(kind.unit), point.units) for edge in (kind.low, kind.high))
    if not 2 * low - high <= value <= 2 * high - low:
        raise SettingError(
            f"{float(value):g} {point.unit} cannot {what}: {kind.name} lies between {float(low):g} and {float(high):g} "
            f"{point.unit}; check what was typed"
        )


def _record(
    point: PointPlan, coefficients: tuple[Fraction, ...], raw: str, method: str, pairs: str, effective: int, note: str
) -> Record:
    return Record(effective, 0, coefficients, raw, point.unit, method, pairs, note=note)


def _pair(item: str, point: PointPlan) -> tuple[Fraction, Fraction]:
    shown, equals, true = item.partition("=")
    if not equals:
        raise SettingError(f"{item!r} is no pair; write what the probe shows and what is true, as in 6.9=7.0")
    return parse_amount(shown, parse_unit(point.raw.unit)), parse_amount(true, point.units)


def _expect(found: Sequence[str], count: int, method: str) -> None:
    if len(found) != count:
        raise SettingError(f"{method} takes {_form(method)}")


def _form(method: str) -> str:
    return {
        "one-point": "one pair SHOWN=TRUE, as in 21.4=21.9",
        "two-point": "two pairs SHOWN=TRUE, as in 6.9=7.0 4.2=4.0; a pH probe in mV also takes temperature=",
        "polynomial": "two to six coefficients, the constant first",
        "air": "what the probe shows in damp air, temperature=, and pressure= or altitude=, as in 8.9 temperature=21 "
        "pressure=100.2",
        "none": "nothing: from then on the probe counts as it shows",
    }[method]
