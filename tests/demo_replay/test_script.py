"""Is every reading published once, in order, exactly, and before the clock passes it?"""

from __future__ import annotations

import json
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.payloads.doors import Doors
from adapters.payloads.json_fields import Field, decode_fields
from adapters.payloads.json_pointer import Pointer
from adapters.recordings import read_recordings
from daemon.site.load import load_site
from demo_replay import days
from demo_replay.script import TICK, Message, Moment, script
from rules.block import block
from rules.durations import HOUR
from rules.flags import Flag
from rules.plan import PointPlan
from tests.held_source import HeldSource

BEGIN = 1_775_178_000_000
LEVEL = PointPlan("tank.level", "level", "cm", Fraction("0.1"))
FLOW = PointPlan("loop.flow", "flow", "L/min", Fraction("0.25"))


def _all(moments: list[Moment]) -> list[Message]:
    return [message for moment in moments for message in moment.messages]


@given(
    st.lists(st.tuples(st.integers(0, 3 * HOUR), st.integers(-999, 999)), max_size=40, unique_by=lambda r: r[0]),
    st.lists(st.tuples(st.integers(0, 3 * HOUR), st.integers(-999, 999)), max_size=40, unique_by=lambda r: r[0]),
    st.integers(0, 3 * HOUR),
)
def test_each_reading_comes_once_in_order_and_no_later_than_its_tick(
    level: list[tuple[int, int]], flow: list[tuple[int, int]], length: int
) -> None:
    """Whatever the times: those from begin to end, by time and then by point, none after its clock."""
    held = {
        point.id: block(point.id, [BEGIN + t for t, _ in sorted(found)], [v for _, v in sorted(found)])
        for point, found in ((LEVEL, level), (FLOW, flow))
    }
    end = BEGIN + length
    moments = list(script(HeldSource(held), (LEVEL, FLOW), BEGIN, end, 1000))
    expected = sorted(
        (BEGIN + t, place, v) for place, found in enumerate((level, flow)) for t, v in found if t <= length
    )
    assert [(m.time, [LEVEL.id, FLOW.id].index(m.point), m.counts) for m in _all(moments)] == expected
    clocks = [moment.clock for moment in moments]
    assert clocks[0] == BEGIN
    assert not moments[0].messages
    assert clocks[-1] == end + 1000
    assert clocks == sorted(clocks)
    for before, moment in pairwise(moments):
        assert all(m.time <= moment.clock for m in moment.messages)
        assert all(m.time > before.clock or before.clock == BEGIN for m in moment.messages)
    assert all(b - a <= TICK for a, b in pairwise(clocks))


@pytest.mark.parametrize(
    ("counts", "text"), [(0, "0.0"), (-5, "-0.5"), (862, "86.2"), (1_000_000_000_000, "100000000000.0")]
)
def test_a_value_is_written_with_the_places_of_its_resolution(counts: int, text: str) -> None:
    """No exponent, no digit more or less."""
    source = HeldSource({LEVEL.id: block(LEVEL.id, [BEGIN], [counts])})
    (message,) = _all(list(script(source, (LEVEL,), BEGIN, BEGIN, 0)))
    assert message.payload == b'{"t":"2026-04-03T01:00:00.000Z","v":%s}' % text.encode()


def test_a_missing_reading_is_sent_as_null() -> None:
    """It keeps its time and has no value."""
    source = HeldSource({LEVEL.id: block(LEVEL.id, [BEGIN + 7], [None])})
    (message,) = _all(list(script(source, (LEVEL,), BEGIN, BEGIN + 10, 0)))
    assert message.flag == Flag.MISSING
    assert message.payload == b'{"t":"2026-04-03T01:00:00.007Z","v":null}'


@given(st.integers(-(10**9), 10**9), st.sampled_from(["0.001", "0.25", "1", "1/3", "1/64", "50"]))
@settings(max_examples=200)
def test_what_is_written_is_decoded_to_the_same_count(counts: int, resolution: str) -> None:
    """Payload and decoder are each other's inverse at any resolution, one third included."""
    point = PointPlan("tank.level", "level", "cm", Fraction(resolution))
    source = HeldSource({point.id: block(point.id, [BEGIN], [counts])})
    (message,) = _all(list(script(source, (point,), BEGIN, BEGIN, 0)))
    field = Field(point.id, Pointer("/v"), Pointer("/t"))
    decoded = decode_fields(message.payload, [field], Doors({point.id: point}))
    assert [(reading.time, reading.counts) for reading in decoded.readings] == [(BEGIN, counts)]
    assert json.loads(message.payload, parse_float=Decimal)["t"] == "2026-04-03T01:00:00.000Z"


@pytest.mark.parametrize("kind", ["pump_trip", "dirty_probe"])
def test_a_whole_recorded_day_is_played_to_its_last_reading(kind: str) -> None:
    """As many messages of each point as the recording has readings, with the same times and counts."""
    plan = load_site(days.SITE).plan
    source = read_recordings([days.path(kind)], {point.id: point for point in plan.points}, plan.timezone)
    span = source.span()
    assert span is not None
    found: dict[str, list[Message]] = {point.id: [] for point in plan.points}
    for message in _all(list(script(source, plan.points, *span, plan.settle))):
        found[message.point].append(message)
    for point in plan.points:
        parts = list(source.read(point.id, span[0] - 1, span[1]))
        times = np.concatenate([part.times for part in parts])
        values = np.concatenate([part.values for part in parts])
        assert [message.time for message in found[point.id]] == times.tolist()
        assert [message.counts for message in found[point.id]] == values.tolist()
