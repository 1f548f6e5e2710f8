"""Which records does a SenML pack hold once it is resolved? RFC 8428 section 4, in JSON."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Context, Decimal, Inexact
from typing import Any, NamedTuple

from adapters.intake import Refusal
from adapters.payloads.decoded import Decoded, quote, refused
from adapters.payloads.doors import Doors
from adapters.payloads.json_text import parse_json
from adapters.payloads.times import parse_epoch
from rules.errors import ValueRefused

VERSION = 10
"""The version of RFC 8428; a pack of a later one is refused."""
RELATIVE_BELOW = 2**28
"""Times below this many seconds (1978-07-04T21:24:16Z) count from now (RFC 8428 section 4.5.3)."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")
_VALUES = ("v", "vb", "vs", "vd")
_BASE = frozenset(("bn", "bt", "bu", "bv", "bs", "bver"))
_ZERO = Decimal(0)
_EXACT = Context(prec=400, traps=[Inexact])  # a sum that does not fit into so many digits is no reading


class Record(NamedTuple):
    """One resolved record.

    place: 1 for the first record of the pack; time: ms UTC, or None for "now"; value: a Decimal, bool or text, and
    None for one that was sent as null; kind: its label `v`, `vb`, `vs` or `vd`, or empty for a record with a sum
    alone; total: the resolved sum, or None; version: the base version, 10 unless the pack says otherwise.
    """

    place: int
    name: str
    time: int | None
    unit: str | None
    value: Decimal | bool | str | None
    kind: str
    total: Decimal | None
    version: int


class Faulty(NamedTuple):
    """A record that is wrong in itself."""

    place: int
    refusal: Refusal


class PackRefused(ValueRefused):
    """A pack in which no record can be trusted."""


@dataclass(slots=True)
class _Base:
    name: str = ""
    time: Decimal = _ZERO
    unit: str | None = None
    value: Decimal = _ZERO
    total: Decimal = _ZERO
    version: int = VERSION


def decode_senml(
    payload: bytes, now: int, route: Callable[[str], str | None], doors: Doors, unit: str | None = None
) -> Decoded:
    """The readings of a SenML pack in JSON.

    now: ms UTC that relative times count from; route: resolved name -> point, or None for a name that is not known;
    doors: built with parse_senml_unit; unit: for records that name none (None: the point's own).
    Every record with a value or sum is read or refused; a faulty pack is one refusal.
    """
    try:
        document = parse_json(payload)
    except ValueRefused as error:
        return refused("not JSON", str(error))
    return read_pack(document, now, route, doors, unit)


def read_pack(
    document: object, now: int, route: Callable[[str], str | None], doors: Doors, unit: str | None
) -> Decoded:
    """The readings of a parsed pack, as for decode_senml."""
    try:
        found = list(resolve(document, now))
    except PackRefused as error:
        return refused("not SenML", str(error))
    decoded = Decoded()
    for record in found:
        if isinstance(record, Faulty):
            decoded.refusals.append(record.refusal)
            continue
        point = route(record.name)
        if point is None:
            decoded.refuse("unknown point", f"no point is called {quote(record.name)}")
        elif not record.kind:
            decoded.refuse("sum alone", f"{point}: record {record.place} has a sum and no value")
        else:
            doors.admit(decoded, point, record.time, record.value, record.unit or unit)
    return decoded


def resolve(document: object, now: int | None) -> Iterator[Record | Faulty]:
    """The records of a parsed pack (see parse_json) in the order of the pack; those with base fields alone yield none.

    now: ms UTC that relative times count from; None makes records with a relative time faulty. Sums of base and own
    fields are decimal and exact. Raises PackRefused where a fault touches the records after it too: no array of
    objects, a faulty base field, a label ending in `_` that is not understood, or a version after RFC 8428's.
    """
    if not isinstance(document, list):
        raise PackRefused("a SenML pack is an array of records")
    if not document:
        raise PackRefused("the pack has no record")
    base = _Base()
    for place, fields in enumerate(document, start=1):
        if not isinstance(fields, dict):
            raise PackRefused(f"record {place} is no object")
        fault = _fault(fields, place)
        if not _BASE.isdisjoint(fields):
            _rebase(base, fields, place)
        if fault is not None:
            yield Faulty(place, fault)
            continue
        record = _one(base, fields, place, now)
        if record is not None:
            yield Faulty(place, record) if isinstance(record, Refusal) else record


def _number(value: object) -> bool:
    return type(value) is Decimal and value.is_finite() and value.adjusted() <= 30


def _text(value: object) -> bool:
    return isinstance(value, str)


# A value may be null (a missing reading), and a number of any size: the door judges it.
_GOOD: dict[str, Callable[[object], bool]] = {
    "bn": _text, "bu": _text, "n": _text, "u": _text,
    "bt": _number, "bv": _number, "bs": _number, "bver": _number, "t": _number, "ut": _number, "s": _number,
    "v": lambda value: value is None or type(value) is Decimal,
    "vb": lambda value: value is None or isinstance(value, bool),
    "vs": lambda value: value is None or isinstance(value, str),
    "vd": lambda value: value is None or isinstance(value, str),
}  # fmt: skip


def _fault(fields: Mapping[str, Any], place: int) -> Refusal | None:
    """What is wrong with the fields of one record; raises PackRefused where it is wrong with the pack."""
    fault = None
    for label, value in fields.items():
        good = _GOOD.get(label)
        if good is None:
            if label.endswith("_"):
                raise PackRefused(f"record {place}: the label {quote(label)} must be understood and is not")
        elif not good(value):
            if label in _BASE:
                raise PackRefused(f"record {place}: {quote(value)} is no value for {label}")
            fault = Refusal("not SenML", f"record {place}: {quote(value)} is no value for {label}")
    return fault


def _rebase(base: _Base, fields: Mapping[str, Any], place: int) -> None:
    """Take over the base fields, which hold from this record on until the next that sets the same one."""
    version = fields.get("bver")
    if version is not None:
        if version != version.to_integral_value() or version < 1:
            raise PackRefused(f"record {place}: the version {version} is no positive whole number")
        if version > VERSION:
            raise PackRefused(f"record {place}: version {version} is later than {VERSION}")
        base.version = int(version)
    base.name = fields.get("bn", base.name)
    base.time = fields.get("bt", base.time)
    base.unit = fields.get("bu", base.unit)
    base.value = fields.get("bv", base.value)
    base.total = fields.get("bs", base.total)


def _one(base: _Base, fields: Mapping[str, Any], place: int, now: int | None) -> Record | Refusal | None:
    present = [label for label in _VALUES if label in fields]
    if not present and "s" not in fields:
        if "n" in fields or "t" in fields or "u" in fields:
            return Refusal("no value", f"record {place} has neither a value nor a sum")
        return None
    if len(present) > 1:
        return Refusal("not SenML", f"record {place} has {' and '.join(present)}; one value is allowed")
    name = base.name + fields.get("n", "")
    if not _NAME.fullmatch(name):
        return Refusal("bad name", f"record {place}: {quote(name)} is no SenML name")
    kind = present[0] if present else ""
    value = fields[kind] if kind else None
    total = fields.get("s")
    try:
        time = _time(_sum(base.time, fields["t"]) if "t" in fields else base.time, now)
    except ValueRefused as error:
        return Refusal("bad time", f"record {place}: {error}")
    try:
        if kind == "v" and value is not None:
            value = _sum(base.value, value)
        if total is not None:
            total = _sum(base.total, total)
    except ValueRefused as error:
        return Refusal("too large", f"record {place}: {error}")
    return Record(place, name, time, fields.get("u", base.unit), value, kind, total, base.version)


def _sum(base: Decimal, own: Decimal) -> Decimal:
    """The exact sum; plain `+` would round it to 28 digits."""
    if not base or not own.is_finite() or own.adjusted() > 30:
        return own  # nothing to add, or nothing that the door will let in
    try:
        return _EXACT.add(base, own)
    except Inexact:
        raise ValueRefused(f"the sum of {quote(str(base))} and {quote(str(own))} has too many digits") from None


def _time(seconds: Decimal, now: int | None) -> int | None:
    if seconds >= RELATIVE_BELOW:
        return parse_epoch(seconds)
    if not seconds:
        return None
    if now is None:
        raise ValueRefused(f"the time {seconds} counts from now, which is not known here")
    return now + parse_epoch(seconds)
