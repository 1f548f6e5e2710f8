"""Which readings does a SenML pack in CBOR carry? RFC 8428 section 6: the same fields under numbers."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from adapters.payloads.cbor import parse_cbor
from adapters.payloads.decoded import Decoded, refused
from adapters.payloads.doors import Doors
from adapters.payloads.senml import read_pack
from rules.errors import ValueRefused

LABELS = {
    -1: "bver", -2: "bn", -3: "bt", -4: "bu", -5: "bv", -6: "bs",
    0: "n", 1: "u", 2: "v", 3: "vs", 4: "vb", 5: "s", 6: "t", 7: "ut", 8: "vd",
}  # fmt: skip
"""RFC 8428 section 6, table 4. A number that is not in it is a field that we need not understand."""


def decode_senml_cbor(
    payload: bytes, now: int, route: Callable[[str], str | None], doors: Doors, unit: str | None = None
) -> Decoded:
    """The readings of a SenML pack in CBOR; everything as for decode_senml."""
    try:
        document = parse_pack(payload)
    except ValueRefused as error:
        return refused("not CBOR", str(error))
    return read_pack(document, now, route, doors, unit)


def parse_pack(payload: bytes) -> object:
    """The document with its fields under the names that they have in JSON; raises ValueRefused."""
    document = parse_cbor(payload)
    if isinstance(document, list):
        return [_named(record) if isinstance(record, dict) else record for record in document]
    return document


def _named(record: dict[object, object]) -> dict[str, object]:
    named: dict[str, object] = {}
    for label, value in record.items():
        key = LABELS.get(int(label), str(label)) if isinstance(label, Decimal) and label.is_finite() else str(label)
        # Data values are bytes here and base64 text in JSON; neither is a reading.
        named[key] = value.hex() if isinstance(value, bytes) else value
    return named
