"""Can the units and JSON Pointers in an adapter's settings be read? Told with their key when the file is read."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator

from adapters.payloads.json_pointer import Pointer
from rules.units import parse_unit


def _unit(symbol: str) -> str:
    parse_unit(symbol)
    return symbol


def _pointer(text: str) -> str:
    Pointer(text)
    return text


UnitText = Annotated[str, AfterValidator(_unit)]
"""The symbol of a unit."""

PointerText = Annotated[str, AfterValidator(_pointer)]
"""A JSON Pointer (RFC 6901)."""
