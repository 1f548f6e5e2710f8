"""Which numbers are in a message or a line whose form nobody has told? Pure."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import NamedTuple

from adapters.payloads.json_text import parse_json
from adapters.payloads.senml import Record, resolve
from adapters.payloads.senml_cbor import parse_pack
from adapters.payloads.senml_units import everyday, parse_senml_unit
from rules.errors import TidebedError, UnitError, ValueRefused

_NUMBER = re.compile(rb"\s*[+-]?(?:[0-9]{1,18}(?:\.[0-9]{0,18})?|\.[0-9]{1,18})(?:[eE][+-]?[0-9]{1,2})?\s*")
_DEEPEST, _WIDEST = 4, 50
_TIME_WORDS = frozenset(("time", "timestamp", "ts", "date", "uptime", "seq", "id", "rssi", "snr"))


class Found(NamedTuple):
    """A number: `payload` as in the settings of a topic; `where` a JSON Pointer or SenML name; unit: the sender's."""

    payload: str
    where: str
    value: Decimal | bool
    unit: str | None = None


def numbers_in(payload: bytes) -> list[Found]:
    """The numbers of a message; none where it holds none."""
    if _NUMBER.fullmatch(payload):
        return [Found("plain", "", Decimal(payload.strip().decode("ascii")))]
    if payload.strip() in (b"true", b"false"):
        return [Found("plain", "", payload.strip() == b"true")]
    try:
        document = parse_json(payload)
    except ValueRefused:
        return _of_cbor(payload)
    if isinstance(document, list):
        packed = list(_of_senml(document, "senml"))
        if packed:
            return packed
    return list(_of_json(document, "", 0))[:_WIDEST]


def _of_cbor(payload: bytes) -> list[Found]:
    try:
        return list(_of_senml(parse_pack(payload), "senml_cbor"))
    except ValueRefused:
        return []


def _of_senml(document: object, payload: str) -> Iterator[Found]:
    try:
        for record in resolve(document, 0):
            if isinstance(record, Record) and isinstance(record.value, Decimal | bool):
                yield Found(payload, record.name, record.value, _everyday(record.unit))
    except TidebedError:
        return


def _everyday(symbol: str | None) -> str | None:
    try:
        found = everyday(parse_senml_unit(symbol)).symbol if symbol else None
        return "%" if found == "%RH" else found
    except UnitError:
        return None


def _of_json(value: object, pointer: str, depth: int) -> Iterator[Found]:
    if isinstance(value, Decimal | bool):
        if pointer.rpartition("/")[2].lower() not in _TIME_WORDS:
            yield Found("json", pointer, value)
    elif depth < _DEEPEST and isinstance(value, dict):
        for key, part in value.items():
            yield from _of_json(part, f"{pointer}/{key.replace('~', '~0').replace('/', '~1')}", depth + 1)
    elif depth < _DEEPEST and isinstance(value, list):
        for at, part in enumerate(value[:_WIDEST]):
            yield from _of_json(part, f"{pointer}/{at}", depth + 1)


class LineForm(NamedTuple):
    """How the lines of a port are written, by the settings of a serial line."""

    line: str
    separator: str = ","
    assign: str = "="


def form_of(line: bytes) -> LineForm | None:
    """The form of a line that holds numbers; None where it holds none that is understood."""
    if _NUMBER.fullmatch(line):
        return LineForm("number")
    if line.lstrip().startswith(b"{"):
        return LineForm("json") if numbers_in(line) else None
    for assign in ("=", ":"):
        for separator in (",", ";", " ", "\t"):
            form = LineForm("pairs", separator, assign)
            parts = line.split(separator.encode())
            if len(list(columns_in(line, form))) * 2 > len(parts):
                return form
    for separator in (",", ";", "\t", " "):
        form = LineForm("csv", separator)
        if separator.encode() in line.strip() and any(columns_in(line, form)):
            return form
    return None


def columns_in(line: bytes, form: LineForm) -> Iterator[tuple[str | int, Decimal | bool]]:
    """(column, key or pointer, value) of each number in a line of that form."""
    if form.line == "json":
        yield from ((found.where, found.value) for found in numbers_in(line))
        return
    if form.line == "number":
        if _NUMBER.fullmatch(line):
            yield "", Decimal(line.strip().decode("ascii"))
        return
    for at, part in enumerate(line.split(form.separator.encode()), start=1):
        key, found, value = part.partition(form.assign.encode()) if form.line == "pairs" else (b"", b"", part)
        if _NUMBER.fullmatch(value) and (form.line == "csv" or (found and key.strip())):
            name = key.strip().decode("utf-8", "replace")
            yield (at if form.line == "csv" else name), Decimal(value.strip().decode("ascii"))
