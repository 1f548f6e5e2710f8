"""Which quality tests does a quantity have where its keeper says nothing?

Gentle, so that nothing true is hidden: a reading is kept from the rules only where no probe that works could send it
(its plausible span, the codes of a dead probe) or where it has not changed in the least for half a day or a whole one,
in a place that has day and night. A spike is only marked: rules have judged the reading before it is known for one.
What may jump in truth (flow, current, light, a state) has no spike test; what may stand still in truth (moisture, a
level at its lip, saturated air) has no flat line test. Sizes and times are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from rules.quantities import Quantity

_DEAD = {"values": ["-127 degC", "85 degC"]}
_DAY = {"suspect_time": "24 h", "fail_time": "48 h"}

_TABLES: Mapping[str, Mapping[str, Mapping[str, Any]]] = {
    "air_temperature": {
        "codes": _DEAD,
        "spike": {"suspect": "3 degC", "fail": "8 degC", "method": "differential"},
        "flat_line": _DAY,
    },
    "water_temperature": {
        "codes": _DEAD,
        "spike": {"suspect": "0.5 degC", "fail": "2 degC", "method": "differential"},
        "flat_line": _DAY,
    },
    "soil_temperature": {
        "codes": _DEAD,
        "spike": {"suspect": "1 degC", "fail": "3 degC", "method": "differential"},
    },
    "relative_humidity": {"spike": {"suspect": "15 %", "fail": "30 %", "method": "differential"}},
    "soil_moisture": {"spike": {"suspect": "5 %", "fail": "15 %", "method": "differential"}},
    "dissolved_oxygen": {
        "spike": {"suspect": "1 mg/L", "fail": "3 mg/L", "method": "differential"},
        "flat_line": {"suspect_time": "12 h", "fail_time": "24 h"},
    },
    "ph": {"spike": {"suspect": "0.3 pH", "fail": "1 pH", "method": "differential"}, "flat_line": _DAY},
    "level": {"spike": {"suspect": "50 mm", "fail": "200 mm", "method": "differential"}},
}

_WITHOUT = frozenset({"state", "ratio"})
"""Quantities whose plausible span says nothing."""


def default_tables(quantity: Quantity) -> dict[str, dict[str, Any]]:
    """Name of each test -> its settings, as they would stand in a site file."""
    tables: dict[str, dict[str, Any]] = {}
    if quantity.name not in _WITHOUT:
        low, high = _amount(quantity.low, quantity), _amount(quantity.high, quantity)
        tables["gross_range"] = {"fail_low": low, "fail_high": high}
    return tables | {name: dict(table) for name, table in _TABLES.get(quantity.name, {}).items()}


def _amount(value: Fraction, quantity: Quantity) -> str:
    return f"{Decimal(value.numerator) / Decimal(value.denominator):f} {quantity.unit}"
