"""Does the stopped-water rule that `listen` writes tell each stop of the simulated loop, however few the probes?"""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from pathlib import Path

import pytest

from adapters.recordings.recording import Recording
from daemon.listening.limits import Chosen, rules_of
from daemon.site.load import site_from_text
from demo_replay.replay import replay
from demo_replay.simulate import SimulatedDay, simulate
from rules.durations import MINUTE


def chosen(point: str, quantity: str, unit: str, middle: str) -> Chosen:
    return Chosen(point, quantity, unit, Decimal(middle), 10_000, point.replace(".", "/"))


FLOW = chosen("loop.flow", "flow", "L/min", "18")
PUMP = chosen("pump.current", "current", "A", "0.4")
OXYGEN = chosen("tank.oxygen", "dissolved_oxygen", "mg/L", "6.5")
BEDS = tuple(chosen(f"bed{at}.level", "level", "cm", "14") for at in (1, 2, 3))
PROBES = {
    "two meters and a bed": (FLOW, PUMP, BEDS[0]),
    "two meters and three beds": (FLOW, PUMP, *BEDS),
    "flow and a bed": (FLOW, BEDS[0]),
    "pump current and a bed": (PUMP, BEDS[0]),
    "flow and three beds": (FLOW, *BEDS),
    "three beds": BEDS,
}
SEEDS = (39, 1, 1001)


@cache
def day(kind: str, seed: int) -> SimulatedDay:
    return simulate(kind, seed)


@cache
def told(probes: str, kind: str, seed: int) -> list[float]:
    """Minutes from the failure of the day, or its beginning, to each time that stopped water is told."""
    points, made = PROBES[probes], day(kind, seed)
    recorded = made.recording()
    lines = ["[site]", 'name = "x"', 'timezone = "UTC"']
    for point in points:
        resolution = float(recorded.series[point.id][1])
        lines += ["[[point]]", f'id = "{point.id}"', f'quantity = "{point.quantity}"', f'unit = "{point.unit}"',
                  f"resolution = {resolution}", 'expect_every = "30 s"']  # fmt: skip
    lines += [text for text in rules_of(points) if '"stopped"' in text]
    plan = site_from_text("\n".join(lines), Path("site.toml")).plan
    own = Recording(
        {point.id: recorded.blocks[point.id] for point in points},
        {point.id: recorded.series[point.id] for point in points},
    )
    began = made.labels[0].start_ms if made.labels else made.begin_ms
    found = (event for event in replay(plan, own).events if event.type == "alarm")
    return [(event.t - began) / MINUTE for event in found if event.body["state"] == "unacknowledged"]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("kind", "probes", "within"),
    [
        ("pump_trip", "two meters and a bed", 3),
        ("pump_trip", "two meters and three beds", 3),
        ("pump_trip", "flow and a bed", 25),
        ("pump_trip", "pump current and a bed", 25),
        ("pump_trip", "flow and three beds", 25),
        ("pump_trip", "three beds", 62),
        # The pump pushes against a shut valve, or sucks, and goes on drawing current: flow and still beds tell.
        ("valve_shut", "two meters and a bed", 25),
        ("valve_shut", "two meters and three beds", 25),
        ("valve_shut", "flow and a bed", 25),
        ("valve_shut", "three beds", 62),
        ("burst_pipe", "two meters and a bed", 25),
        ("burst_pipe", "flow and three beds", 25),
        ("rotor_jammed", "two meters and a bed", 3),
        ("rotor_jammed", "pump current and a bed", 25),
        ("breather_blocked", "two meters and three beds", 3),
    ],
)
def test_each_stop_is_told_once_and_in_time(kind: str, probes: str, within: int, seed: int) -> None:
    """Once, though a jammed rotor tries again every few minutes."""
    (after,) = told(probes, kind, seed)
    assert 0 < after <= within


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    "kind",
    ["ordinary", "flow_meter_stuck", "siphon_stuck", "siphon_will_not_start", "bed_without_inflow", "intake_blocked"],
)
@pytest.mark.parametrize("probes", PROBES)
def test_nobody_is_woken_while_water_runs(probes: str, kind: str, seed: int) -> None:
    """A meter that sticks, a bed that stands still, and water that only flows slower are no stop."""
    assert told(probes, kind, seed) == []


def test_where_oxygen_is_measured_the_time_left_is_told() -> None:
    """In a unit of the keeper's choice; without an oxygen probe nothing is invented."""
    (rule,) = (text for text in rules_of([FLOW, PUMP, OXYGEN]) if '"stopped"' in text)
    assert 'runway = { point = "tank.oxygen", limit = 3, loss = "2 mg/L/h", harm = "fish are in danger" }' in rule
    assert "runway" not in "".join(rules_of([FLOW, PUMP]))
