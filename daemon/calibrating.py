"""How does what a keeper found with buffers, ice or a hand meter become a calibration, and what does it tell?"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from rules.calibration import Record, air_saturation, electrode_efficiency, one_point, two_points
from rules.derived.calc import calculate
from rules.errors import SettingError
from rules.plan import PointPlan
from rules.units import exact, parse_amount, parse_unit

METHODS = ("one-point", "two-point", "polynomial", "air", "none")
ROOM = "25"
"""degC, where the temperature of the buffers is not told."""
_WORN, _ODD = 85, 105
"""Per cent of the Nernst slope: under the first an electrode is worn, beyond the second a buffer was mistaken (common
practice, no source)."""


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
        remarks.append(f"air-saturated water holds {float(true):.2f} {point.unit} there")
        coefficients = air_saturation(shown, true)
        pairs = f"{plain[0]}={float(true):.4g}"
    else:
        pairs_found = [_pair(item, point) for item in plain]
        pairs = " ".join(plain)
        if method == "one-point":
            _expect(plain, 1, method)
            if raw_unit.dimension != point.units.dimension:
                raise SettingError(f"{point.id} sends {raw_unit.symbol}: one point gives no slope; use two-point")
            coefficients = one_point(*pairs_found[0])
        else:
            _expect(plain, 2, method)
            coefficients = two_points(*pairs_found)
            if point.quantity == "ph" and raw_unit.dimension == "voltage":
                remarks.append(_electrode(point, pairs_found, conditions.get("temperature", ROOM)))
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
    raw_unit, mv = parse_unit(point.raw.unit), parse_unit("mV")
    first, second = ((raw * raw_unit.scale / mv.scale, ph) for raw, ph in pairs)
    share = electrode_efficiency(first, second, celsius)
    if share < _WORN:
        end = ": worn; clean it, and replace it if that does not help"
    else:
        end = ": more than there can be; check the buffers" if share > _ODD else ""
    return f"the electrode reaches {share:.1f} % of the Nernst slope at {celsius:g} degC{end}"


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
