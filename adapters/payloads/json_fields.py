"""Which readings does a JSON payload carry, where pointers say what stands where?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from adapters.payloads.decoded import Decoded, quote, refused
from adapters.payloads.doors import Doors
from adapters.payloads.json_pointer import MISSING, Pointer
from adapters.payloads.json_text import parse_json
from adapters.payloads.times import TimeFormat, parse_time
from rules.errors import ValueRefused


@dataclass(frozen=True, slots=True)
class Field:
    """Where one point's value stands in a document, and perhaps its time and unit.

    unit: the sender's unit where the document does not name it; None: the point's own.
    """

    point: str
    value: Pointer
    time: Pointer | None = None
    time_format: TimeFormat = TimeFormat.RFC3339
    unit: str | None = None
    unit_at: Pointer | None = None


def decode_fields(payload: bytes, fields: Iterable[Field], doors: Doors) -> Decoded:
    """One reading or one refusal for each of `fields`; one refusal in all where the payload is no JSON."""
    try:
        document = parse_json(payload)
    except ValueRefused as error:
        return refused("not JSON", str(error))
    decoded = Decoded()
    for wanted in fields:
        _take(decoded, document, wanted, doors)
    return decoded


MOST_ELEMENTS = 10_000
"""Elements of an array that are read; more are refused together."""


def decode_each(payload: bytes, each: Pointer, fields: Iterable[Field], doors: Doors) -> Decoded:
    """As decode_fields for each element of the array at `each`; the fields' pointers count from the element."""
    try:
        document = parse_json(payload)
    except ValueRefused as error:
        return refused("not JSON", str(error))
    found = each.find(document)
    if not isinstance(found, list):
        return refused("no array", f"nothing with elements at {each.text!r}")
    if not found:
        return refused("empty", f"the array at {each.text!r} has no element")
    wanted = tuple(fields)
    decoded = Decoded()
    for element in found[:MOST_ELEMENTS]:
        for one in wanted:
            _take(decoded, element, one, doors)
    if len(found) > MOST_ELEMENTS:
        decoded.refuse("too many", f"{len(found)} elements at {each.text!r}, at most {MOST_ELEMENTS}")
    return decoded


def _take(into: Decoded, document: object, wanted: Field, doors: Doors) -> None:
    value = wanted.value.find(document)
    if value is MISSING:
        into.refuse("no value", f"{wanted.point}: nothing at {wanted.value.text!r}")
        return
    time = None
    if wanted.time is not None:
        written = wanted.time.find(document)
        if written is MISSING or written is None:
            into.refuse("no time", f"{wanted.point}: no time at {wanted.time.text!r}")
            return
        try:
            time = parse_time(written, wanted.time_format)
        except ValueRefused as error:
            into.refuse("bad time", f"{wanted.point}: {error}")
            return
    unit = wanted.unit
    if wanted.unit_at is not None:
        named = wanted.unit_at.find(document)
        if isinstance(named, str):
            unit = named
        elif named is not MISSING and named is not None:
            into.refuse("unit does not fit", f"{wanted.point}: {quote(named)} is no unit")
            return
    doors.admit(into, wanted.point, time, value, unit)
