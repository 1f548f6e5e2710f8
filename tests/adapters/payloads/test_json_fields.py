"""Do pointers into a JSON payload yield the right readings?"""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.intake import Arrived
from adapters.payloads.doors import Doors
from adapters.payloads.json_fields import Field, decode_fields
from adapters.payloads.json_pointer import Pointer
from adapters.payloads.times import TimeFormat
from tests.fed_points import POINTS

DOORS = Doors(POINTS)
TANK = Field(
    "tank.temperature",
    Pointer("/probes/0/t"),
    time=Pointer("/at"),
    time_format=TimeFormat.MILLISECONDS,
    unit_at=Pointer("/unit"),
)
PUMP = Field("pump.on", Pointer("/pump"))


def test_one_payload_feeds_several_points() -> None:
    """Each field yields its reading, with its own time and unit where the payload has them."""
    payload = b'{"probes": [{"t": 68.0}], "at": 1276020076001, "unit": "degF", "pump": true}'
    decoded = decode_fields(payload, [TANK, PUMP], DOORS)
    assert decoded.readings == [
        Arrived("tank.temperature", 1276020076001, 20000, 2),
        Arrived("pump.on", None, 1, 2),
    ]
    assert decoded.refusals == []


def test_a_unit_that_the_payload_lacks_is_the_declared_one() -> None:
    """`unit` stands in where nothing stands at `unit_at`."""
    field = Field("tank.temperature", Pointer("/t"), unit="degF", unit_at=Pointer("/unit"))
    assert decode_fields(b'{"t": 68}', [field], DOORS).readings[0].counts == 20000
    assert decode_fields(b'{"t": 20, "unit": "degC"}', [field], DOORS).readings[0].counts == 20000


@pytest.mark.parametrize(
    ("payload", "cause"),
    [
        (b"{}", "no value"),
        (b"[]", "no value"),
        (b'"text"', "no value"),
        (b'{"probes": [{"t": "21.3"}], "at": 1276020076001}', "not a number"),
        (b'{"probes": [{"t": NaN}], "at": 1276020076001}', "not a number"),
        (b'{"probes": [{"t": -Infinity}], "at": 1276020076001}', "not a number"),
        (b'{"probes": [{"t": {}}], "at": 1276020076001}', "not a number"),
        (b'{"probes": [{"t": false}], "at": 1276020076001}', "not a number"),
        (b'{"probes": [{"t": 1e50}], "at": 1276020076001}', "too large"),
        (b'{"probes": [{"t": 21.3}]}', "no time"),
        (b'{"probes": [{"t": 21.3}], "at": null}', "no time"),
        (b'{"probes": [{"t": 21.3}], "at": "yesterday"}', "bad time"),
        (b'{"probes": [{"t": 21.3}], "at": 1276020076001, "unit": 7}', "unit does not fit"),
        (b'{"probes": [{"t": 21.3}], "at": 1276020076001, "unit": "mg/L"}', "unit does not fit"),
        (b"21.3 degC", "not JSON"),
        (b"\xff", "not JSON"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_cause(payload: bytes, cause: str) -> None:
    """One cause for each way in which a payload can be wrong."""
    decoded = decode_fields(payload, [TANK], DOORS)
    assert decoded.readings == []
    assert [refusal.cause for refusal in decoded.refusals] == [cause]


def test_null_is_a_missing_reading() -> None:
    """A value of null is a reading with flag 9."""
    decoded = decode_fields(b'{"probes": [{"t": null}], "at": 1276020076001}', [TANK], DOORS)
    assert decoded.readings == [Arrived("tank.temperature", 1276020076001, 0, 9)]


def test_one_bad_value_does_not_take_the_others_with_it() -> None:
    """A device that prints NaN for a broken probe is still heard for the others."""
    decoded = decode_fields(b'{"probes": [{"t": NaN}], "at": 1276020076001, "pump": false}', [TANK, PUMP], DOORS)
    assert [reading.point for reading in decoded.readings] == ["pump.on"]
    assert [refusal.cause for refusal in decoded.refusals] == ["not a number"]


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.sampled_from(["probes", "t", "at", "unit", "pump", "0"]), inner),
)


@given(JSON)
def test_any_document_is_read_or_refused_field_by_field(document: object) -> None:
    """No document crashes the decoder, and each field ends as one reading or one refusal."""
    decoded = decode_fields(json.dumps(document).encode(), [TANK, PUMP], DOORS)
    assert len(decoded.readings) + len(decoded.refusals) == 2


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(payload: bytes) -> None:
    """No bytes crash the decoder."""
    decoded = decode_fields(payload, [TANK, PUMP], DOORS)
    assert len(decoded.readings) + len(decoded.refusals) in (1, 2)
