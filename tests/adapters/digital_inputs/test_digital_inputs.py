"""Do switches and pulse meters become readings? With a stand-in for the kernel's lines; no real line was tried."""

from __future__ import annotations

import threading
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from adapters.backoff import Backoff
from adapters.digital_inputs.connection import DigitalInputsAdapter
from adapters.digital_inputs.counting import PulseCounter, flow
from adapters.digital_inputs.settings import DigitalInputsSettings
from tests.adapters.wires import NOW, Kept, MovedClock
from tests.fed_points import POINTS
from tests.waiting import until

TABLE = {
    "lines": [
        {"point": "pump.on", "line": 4, "active_low": True, "pull": "up"},
        {"point": "loop.flow", "line": 17, "use": "pulses", "pulses_per_litre": "450"},
    ]
}
SETTINGS = DigitalInputsSettings.model_validate(TABLE)


class StandIn:
    """Lines whose edges a test gives; its time goes on by a second at each look, half of it without an edge."""

    def __init__(self) -> None:
        self.waiting: list[tuple[int, bool]] = []
        self.time = 0.0
        self.broken = False
        self.closed = 0
        self.on = False

    def edges(self, timeout: float) -> list[tuple[int, bool]]:
        if self.broken:
            raise OSError("no such device")
        threading.Event().wait(0.002)
        self.time += timeout
        taken, self.waiting = self.waiting, []
        return taken

    def value(self, line: int) -> bool:
        return self.on

    def close(self) -> None:
        self.closed += 1

    def monotonic(self) -> float:
        return self.time

    def wait(self, seconds: float, stopping: threading.Event) -> bool:
        return stopping.wait(0.01)


def test_a_meters_factor_makes_pulses_a_flow() -> None:
    """450 pulses a litre: 75 pulses in 10 s are 1 L/min (by hand)."""
    assert flow(75, 10_000, Decimal(450)) == 1
    assert flow(0, 10_000, Decimal(450)) == 0
    assert flow(1, 60_000, Decimal(450)) == Fraction(1, 450)
    with pytest.raises(ValueError, match="no time"):
        flow(1, 0, Decimal(450))


@given(st.lists(st.integers(0, 50), min_size=1, max_size=20), st.integers(1, 1000))
def test_no_pulse_is_lost_or_counted_twice(pulses: list[int], step: int) -> None:
    """Whenever it is looked at."""
    counter = PulseCounter(0)
    taken = []
    for at, count in enumerate(pulses, start=1):
        for _ in range(count):
            counter.pulse()
        taken.append(counter.take(at * step))
    assert taken == [(count, step) for count in pulses]


def test_states_come_at_changes_and_at_intervals_and_flows_at_intervals() -> None:
    """A switch is read at the start, at each edge, and every so often; the pulses of an interval are one flow."""
    lines, kept = StandIn(), Kept()
    lines.waiting = [(4, True), (4, False), *[(17, True), (17, False)] * 75]
    adapter = DigitalInputsAdapter(
        SETTINGS, POINTS, "x", pace=lines, backoff=Backoff(0.01, 0.02), request=lambda settings: lines
    )
    adapter.start(kept, MovedClock())
    try:
        until(lambda: [r for r in kept.readings() if r.point == "loop.flow"][1:])
        states = [(r.time, r.counts) for r in kept.readings() if r.point == "pump.on"]
        assert states[:4] == [(None, 0), (None, 1), (None, 0), (None, 0)]
        flows = [(r.time, r.counts) for r in kept.readings() if r.point == "loop.flow"]
        assert flows[:2] == [(NOW, 100), (NOW, 0)]
        lines.broken = True
        until(lambda: adapter.health().state == "waiting")
        assert "no such device" in adapter.health().last_error
        assert lines.closed >= 1
        lines.broken = False
        until(lambda: adapter.health().state == "connected")
    finally:
        adapter.stop()


def test_lines_that_are_not_there_are_told() -> None:
    """By the kernel's own answer."""
    gone = DigitalInputsSettings.model_validate(TABLE | {"chip": "/dev/no-such-chip"})
    adapter = DigitalInputsAdapter(gone, POINTS, "x", backoff=Backoff(0.01, 0.02))
    adapter.start(Kept(), MovedClock())
    try:
        until(lambda: adapter.health().state == "waiting")
        assert "chip" in adapter.health().last_error or "gpiod" in adapter.health().last_error
    finally:
        adapter.stop()


@pytest.mark.parametrize(
    "lines",
    [[], [{"point": "a", "line": 1}, {"point": "b", "line": 1}], [{"point": "a", "line": 1, "use": "pulses"}],
     [{"point": "a", "line": 1, "pulses_per_litre": 450}]],
)  # fmt: skip
def test_settings_that_do_not_fit_are_refused(lines: list[dict[str, object]]) -> None:
    """No line, one twice, pulses without a factor, a factor without pulses."""
    with pytest.raises(ValidationError):
        DigitalInputsSettings.model_validate({"lines": lines})
