"""Does a payload that is nothing but a number become the right reading?"""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.intake import Arrived
from adapters.payloads.doors import Doors
from adapters.payloads.plain import decode_plain
from tests.fed_points import POINTS

DOORS = Doors(POINTS)


@pytest.mark.parametrize(
    ("payload", "unit", "counts", "rounded"),
    [
        (b"21.345", None, 21345, 0),
        (b" 21.345\r\n", None, 21345, 0),
        (b"-0.5", None, -500, 0),
        (b"+7", None, 7000, 0),
        (b".5", None, 500, 0),
        (b"21.", None, 21000, 0),
        (b"2.1e1", None, 21000, 0),
        (b"68", "degF", 20000, 0),  # UCUM: 68 degF = 20 degC
        (b"45", "degF", 7222, 1),  # 7.2222... degC
        (b"0.0005", None, 0, 1),  # half to even
        (b"0.0015", None, 2, 1),
    ],
)
def test_a_number_becomes_counts(payload: bytes, unit: str | None, counts: int, rounded: int) -> None:
    """A decimal in ASCII becomes counts of the point's resolution, and a lost remainder is counted."""
    decoded = decode_plain(payload, "tank.temperature", DOORS, unit)
    assert decoded.readings == [Arrived("tank.temperature", None, counts, 2)]
    assert decoded.refusals == []
    assert decoded.rounded == rounded


@pytest.mark.parametrize(
    ("payload", "cause"),
    [
        (b"", "empty"),
        (b"  ", "empty"),
        (b"warm", "not a number"),
        (b"21.3 C", "not a number"),
        (b"21,3", "not a number"),
        (b"1_000", "not a number"),  # Python's own spelling is nobody's number
        ("٣".encode(), "not a number"),
        (b"nan", "not a number"),
        (b"NaN", "not a number"),
        (b"inf", "not a number"),
        (b"-Infinity", "not a number"),
        (b"0x10", "not a number"),
        (b"\xff\xfe\x00", "not a number"),
        (b"true", "not a number"),
        (b"1e40", "too large"),
        (b"1e999999999999999999999", "too large"),
        (b"9007199254740.993", "too large"),
    ],
)
def test_what_is_no_number_is_refused(payload: bytes, cause: str) -> None:
    """Everything else is refused with a cause to count by."""
    decoded = decode_plain(payload, "tank.temperature", DOORS)
    assert decoded.readings == []
    assert [refusal.cause for refusal in decoded.refusals] == [cause]


@pytest.mark.parametrize(("value", "taken"), [("9007199254740.991", True), ("9007199254740.992", True)])
def test_counts_up_to_the_largest_are_taken(value: str, taken: bool) -> None:
    """2^53 counts are taken; test_what_is_no_number_is_refused has the next one."""
    decoded = decode_plain(value.encode(), "tank.temperature", DOORS)
    assert bool(decoded.readings) is taken


def test_true_and_false_are_the_states_of_a_switch() -> None:
    """`true` is 1 and `false` is 0 at a state point."""
    assert decode_plain(b"true", "pump.on", DOORS).readings == [Arrived("pump.on", None, 1, 2)]
    assert decode_plain(b"false", "pump.on", DOORS).readings == [Arrived("pump.on", None, 0, 2)]


def test_null_is_a_missing_reading() -> None:
    """`null` is a reading with flag 9 (QARTOD: missing)."""
    assert decode_plain(b"null", "tank.temperature", DOORS).readings == [Arrived("tank.temperature", None, 0, 9)]


def test_an_unfitting_unit_is_refused() -> None:
    """A value in a unit of another dimension, or of none, never becomes a reading."""
    for unit in ("mg/L", "furlong"):
        decoded = decode_plain(b"7", "tank.temperature", DOORS, unit)
        assert [refusal.cause for refusal in decoded.refusals] == ["unit does not fit"]


def test_an_unknown_point_is_refused() -> None:
    """A point that the plan lacks is refused by name."""
    decoded = decode_plain(b"7", "pond.temperature", DOORS)
    assert decoded.refusals[0].cause == "unknown point"
    assert "pond.temperature" in decoded.refusals[0].detail


def test_a_refusal_quotes_no_more_than_a_line() -> None:
    """However long the payload, the detail stays short and printable."""
    decoded = decode_plain(b"\x1b[2J\n" * 10000, "tank.temperature", DOORS)
    assert len(decoded.refusals[0].detail) < 250
    assert decoded.refusals[0].detail.isprintable()


@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_refused(payload: bytes) -> None:
    """No payload crashes the decoder, and each ends as one reading or one refusal."""
    decoded = decode_plain(payload, "tank.temperature", DOORS)
    assert len(decoded.readings) + len(decoded.refusals) == 1


@given(st.decimals(min_value=-1000, max_value=1000, places=3))
def test_what_was_sent_can_be_read_back(value: Decimal) -> None:
    """At a resolution as fine as the probe's the counts are the very decimal that was sent."""
    decoded = decode_plain(f"{value:f}".encode(), "tank.temperature", DOORS)
    assert decoded.readings[0].counts == value * 1000
    assert decoded.rounded == 0
