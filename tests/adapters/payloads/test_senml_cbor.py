"""Is SenML in CBOR read as RFC 8428 section 6 and RFC 8949 say, and never more of it than is allowed?"""

from __future__ import annotations

import contextlib
import math
import struct
from decimal import Decimal
from typing import Any

import cbor2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.payloads.cbor import DEEPEST, MOST_ITEMS, parse_cbor
from adapters.payloads.doors import Doors
from adapters.payloads.senml_cbor import decode_senml_cbor
from adapters.payloads.senml_units import parse_senml_unit
from rules.errors import ValueRefused
from tests.fed_points import POINTS

NOW = 1_775_182_470_000
DOORS = Doors(POINTS, parse_senml_unit)


def causes(payload: bytes) -> list[str]:
    found = decode_senml_cbor(payload, NOW, lambda name: name, DOORS)
    assert found.readings == []
    return [refusal.cause for refusal in found.refusals]


@pytest.mark.parametrize(
    ("encoded", "value"),
    [
        # RFC 8949, appendix A
        ("00", Decimal(0)), ("1903e8", Decimal(1000)), ("1bffffffffffffffff", Decimal(2**64 - 1)),
        ("3863", Decimal(-100)), ("3bffffffffffffffff", Decimal(-(2**64))), ("f93e00", Decimal("1.5")),
        ("f97bff", Decimal(65504)), ("fa47c35000", Decimal(100000)), ("fb3ff199999999999a", Decimal("1.1")),
        ("fbc010666666666666", Decimal("-4.1")), ("f4", False), ("f5", True), ("f6", None),
        ("4401020304", b"\x01\x02\x03\x04"), ("62c3bc", "ü"), ("83010203", [Decimal(1), Decimal(2), Decimal(3)]),
        ("a26161016162820203", {"a": Decimal(1), "b": [Decimal(2), Decimal(3)]}),
        ("9f018202039f0405ffff", [Decimal(1), [Decimal(2), Decimal(3)], [Decimal(4), Decimal(5)]]),
        ("7f657374726561646d696e67ff", "streaming"), ("5f42010243030405ff", b"\x01\x02\x03\x04\x05"),
        ("c11a514b67b0", Decimal(1363896240)), ("c48221196ab3", Decimal("273.15")),
    ],
)  # fmt: skip
def test_printed_items_are_what_they_say(encoded: str, value: object) -> None:
    """The last is the RFC's own decimal fraction."""
    assert parse_cbor(bytes.fromhex(encoded)) == value


def test_a_float_is_the_decimal_that_was_meant_in_its_own_width() -> None:
    """23.1 in 32 bits is 23.1, not 23.100000381."""
    assert parse_cbor(b"\xfa" + np.array(23.1, ">f4").tobytes()) == Decimal("23.1")


def test_the_rfcs_own_pack_is_read() -> None:
    """Section 6, the pack of 5.1.2 in CBOR (bytes as its text describes them): a later label alone keeps the bases."""
    pack = [
        {-2: "tank.", -3: 1276020076.001, -4: "Cel", -1: 5, 0: "temperature", 2: 20.5},
        {0: "temperature", 6: -4, 2: 1.3},
        {0: "oxygen", 1: "kg/m3", 2: Decimal("0.0075")},
    ]
    found = decode_senml_cbor(cbor2.dumps(pack), NOW, lambda name: name, DOORS)
    assert [(r.point, r.time, r.counts) for r in found.readings] == [
        ("tank.temperature", 1276020076001, 20500),
        ("tank.temperature", 1276020072001, 1300),
        ("tank.oxygen", 1276020076001, 750),
    ]
    assert found.refusals == []


@pytest.mark.parametrize(
    ("payload", "cause"),
    [
        (b"", "not CBOR"),
        (b"\x82\x01", "not CBOR"),
        (b"\x00\x00", "not CBOR"),
        (b"\xff", "not CBOR"),
        (b"\x1c", "not CBOR"),
        (b"\x81" * (DEEPEST + 2), "not CBOR"),
        (b"\x9b" + b"\xff" * 8, "not CBOR"),
        (b"\x9a\x00\x0f\xff\xff" + b"\x00" * (MOST_ITEMS + 1), "not CBOR"),
        (cbor2.dumps({"n": "x"}), "not SenML"),
        (cbor2.dumps([{0: "tank.temperature", 2: float("nan")}]), "not a number"),
        (cbor2.dumps([{0: "tank.temperature", 8: b"hi"}]), "not a number"),
        (cbor2.dumps([{0: "tank.temperature", "x_": 1, 2: 1}]), "not SenML"),
    ],
)
def test_what_is_none_is_refused(payload: bytes, cause: str) -> None:
    """Broken off, too deep, too long, or no pack: one refusal, and no memory taken by a claimed length."""
    assert causes(payload) == [cause]


JSONISH: st.SearchStrategy[Any] = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(-(2**64), 2**64 - 1), st.floats(allow_nan=False), st.text(),
              st.binary()),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=3), inner, max_size=4)),
    max_leaves=15,
)  # fmt: skip


def same(ours: object, theirs: object) -> bool:
    if isinstance(theirs, dict) and isinstance(ours, dict):
        return ours.keys() == theirs.keys() and all(same(ours[key], theirs[key]) for key in theirs)
    if isinstance(theirs, list) and isinstance(ours, list):
        return len(ours) == len(theirs) and all(map(same, ours, theirs))
    if isinstance(theirs, float) and isinstance(ours, Decimal):
        return theirs in as_sent(float(ours)) or math.isinf(theirs)
    return bool(ours == theirs)


def as_sent(value: float) -> list[float]:
    """What a float of each width reads as: ours is the shortest decimal of the width in which it came."""
    found = [value]
    for width in "fe":
        with contextlib.suppress(OverflowError):
            found += struct.unpack(width, struct.pack(width, value))
    return found


@given(JSONISH, st.booleans())
def test_what_another_library_writes_is_read(item: Any, canonical: bool) -> None:
    """cbor2, also in its shortest form with half-width floats."""
    assert same(parse_cbor(cbor2.dumps(item, canonical=canonical)), item)


@given(st.binary(max_size=60))
def test_any_bytes_are_an_item_or_refused(data: bytes) -> None:
    """Nothing else is raised; and as a pack they are readings or causes, or hold no record."""
    try:
        item = parse_cbor(data)
    except ValueRefused:
        assert causes(data) == ["not CBOR"]
        return
    found = decode_senml_cbor(data, NOW, lambda name: "tank.temperature", DOORS)
    assert found.readings or found.refusals or (isinstance(item, list) and all(isinstance(one, dict) for one in item))


def test_items_are_nested_only_so_deep() -> None:
    """At the limit it is read; one more array around it is refused."""
    assert isinstance(parse_cbor(b"\x81" * DEEPEST + b"\x00"), list)
    with pytest.raises(ValueRefused, match="too deep"):
        parse_cbor(b"\x81" * (DEEPEST + 1) + b"\x00")
