"""Can every rule of the shipped site file speak? What the simulator does not make is written over an ordinary day.

Each case says what a probe shows instead, from which hour on, and what the keeper noted; the message must come with the
rule's own words. Values and hours are invented.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
import pytest

from adapters.recordings.recording import Recording
from daemon.site.load import load_site
from demo_replay import place
from demo_replay.days import SITE
from demo_replay.replay import replay
from demo_replay.simulate import simulate
from rules.acts import Act, ActKind
from rules.block import Block
from rules.durations import DAY, HOUR, MINUTE
from rules.events import Event
from rules.messages import BODY_SIZE, TITLE_SIZE
from rules.people import PersonSettings
from rules.plan import Plan
from rules.settings import Priority
from tests.demo_replay.test_failures import table

Shown = Callable[[np.ndarray, np.ndarray], np.ndarray]  # (hours since the failure, values in the unit) -> values
"""What a probe shows from the failure on."""


def at(value: float) -> Shown:
    """One value from then on."""
    return lambda hours, values: np.full(len(values), value)


def by(rate: float) -> Shown:
    """So much more each hour than it was."""
    return lambda hours, values: values + rate * hours


class Case(NamedTuple):
    """What is shown instead, of which point; from which hour; a note then; points that fall silent; days in all."""

    shown: Mapping[str, Shown] = MappingProxyType({})
    hour: float = 8.0
    note: str = ""
    silent: tuple[str, ...] = ()
    days: int = 1
    kind: str = "ordinary"


def _gone(litres_an_hour: float) -> Shown:
    return by(-litres_an_hour / place.SUMP_AREA)


WET = ("loop.flow", "pump.current", "tank.oxygen", "tank.temperature", "tank.level", "sump.level", "airpump.current")
CASES: dict[str, Case] = {
    "battery.low": Case({"battery.voltage": at(12.0)}),
    "battery.low_in_cut": Case({"battery.voltage": at(12.0), "mains.present": at(0)}),
    "loop.no_bed_moves": Case({"loop.flow": at(3.0), **{f"bed{bed}.level": at(4.0) for bed in (1, 2, 3)}}),
    "water.gushing": Case({"sump.level": by(-40.0)}),
    "sump.high": Case({"sump.level": at(82.0), "loop.flow": at(3.0)}),
    "sump.filling": Case({"sump.level": at(82.0)}),
    "tank.level_low": Case({"tank.level": at(82.5)}),
    "filter.drain_open": Case({"sump.level": _gone(120.0)}, note="solids_drained"),
    "topup.left_on": Case({"sump.level": by(3.0)}, note="treated_top_up"),
    "water.short": Case({"sump.level": lambda h, v: v - 12.0}, hour=0.0),
    "bed*.slow": Case({"bed{}.level": lambda h, v: 2.5 + 19.5 * np.clip((h % 2.4) / 2.2, 0, 1) * (h % 2.4 < 2.3)}),
    "bed*.overflow": Case({"bed{}.level": at(26.0)}),
    "bed*.clogging": Case({"bed{}.level": lambda h, v: np.maximum(v, 6.0)}, hour=2.0),
    "bed*.sheds": Case({"bed{}.level": at(10.0), "sump.level": by(-1.5)}),
    "airpump.stopped_low": Case({"airpump.current": at(0), "tank.oxygen": at(4.6)}),
    "tank.oxygen_falling": Case({"tank.oxygen": by(-1.6)}),
    "tank.oxygen_heat": Case({"tank.oxygen": at(4.95), "tank.temperature": at(33.5)}),
    "tank.oxygen_after_feed": Case({"tank.oxygen": by(-1.1)}, note="feeding"),
    "tank.oxygen_day": Case({"tank.oxygen": lambda h, v: v - 2.2}, hour=0.0, days=2),
    "tank.oxygen_stirred": Case({"tank.oxygen": by(-4.0)}, note="cleaning"),
    "tank.saturation_falls": Case({"tank.oxygen": by(-0.012)}, hour=0.0, days=7),
    "tank.saturation_high": Case({"tank.oxygen": at(9.9)}),
    "tank.temperature_warn": Case({"tank.temperature": at(32.5)}),
    "tank.temperature_high": Case({"tank.temperature": at(34.5)}),
    "tank.temperature_lethal": Case({"tank.temperature": at(36.5)}),
    "tank.cold_ahead": Case({"tank.temperature": by(-0.9)}),
    "heater.stuck_on": Case({"tank.temperature": at(30.0), "heater.current": at(6.5)}),
    "heater.dead": Case({"tank.temperature": at(19.0), "heater.current": at(0)}),
    "tank.ph_band": Case({"tank.ph": at(5.9)}, hour=0.0),
    "tank.ph_far": Case({"tank.ph": at(5.5)}, hour=0.0),
    "tank.ph_fast": Case({"tank.ph": by(-0.15)}, hour=4.0),
    "tank.alkalinity_low": Case({"hand.alkalinity": at(25)}, hour=0.0),
    "tank.ammonia_warn": Case({"hand.ammonia": at(4.0)}, hour=0.0),
    "tank.ammonia_high": Case({"hand.ammonia": at(12.0)}, hour=0.0),
    "tank.nitrite_high": Case({"hand.nitrite": at(1.4)}, hour=0.0),
    "tank.conductivity_high": Case({"tank.conductivity": at(1600)}, hour=0.0),
    "tank.conductivity_steps": Case({"tank.conductivity": lambda h, v: v + 300 * np.minimum(1.0, h)}),
    "house.cool": Case({"house.temperature": at(9.0), "groundloop.current": at(0.55)}),
    "house.frost_ahead": Case({"house.temperature": lambda h, v: 16.0 - 4.0 * h}, hour=20.0),
    "house.open_to_cold": Case({"house.temperature": at(4.0), "outside.temperature": at(2.0), "vents.open": at(0)}),
    "house.too_hot": Case({"house.temperature": at(41.0), "vents.open": at(1), "fan.current": at(0.9)}),
    "house.heat_ahead": Case({"house.temperature": lambda h, v: 24 + 12 * h, "vents.open": at(1)}),
    "groundloop.dead": Case({"house.temperature": at(26.5), "groundloop.current": at(0)}),
    "groundloop.short": Case(
        {"groundloop.current": at(0.55), "house.temperature": at(25.5), "groundloop.outlet_temperature": at(25.2)}
    ),
    "groundloop.spent": Case(
        {"groundloop.current": at(0.55), "house.temperature": at(18.5), "groundloop.outlet_temperature": at(18.2)}
    ),
    "house.cold_pool": Case({"low.temperature": by(-4.0), "house.light": at(0)}, hour=22.0),
    "house.probe_in_sun": Case({"low.temperature": at(18.0), "house.temperature": at(25.0), "house.light": at(900)}),
    "house.dew_on_leaves": Case({"house.humidity": at(99.0), "house.temperature": at(15.0)}, hour=0.0),
    "house.damp_night": Case({"house.humidity": at(90.0), "house.temperature": at(15.0)}, hour=0.0),
    "house.dry": Case({"house.humidity": at(20.0), "house.temperature": at(29.0), "vents.open": at(1)}),
    "soil.dry": Case({"soil.moisture": at(15.0)}),
    "soil.cold": Case({"soil.temperature": at(11.0)}, hour=0.0, days=4),
    "soil.wet": Case({"soil.moisture": at(40.0)}),
    "soil.wet_long": Case({"soil.moisture": at(40.0)}, days=2),
    "ground.water_near": Case({"ground.water": at(18)}),
    "ground.water_rising": Case({"ground.water": by(-2.0)}, hour=0.0),
    "tank.oxygen_dry": Case(
        {"tank.temperature": at(20.0), "house.temperature": at(20.0), "tank.oxygen": at(9.03)}, hour=2.0
    ),
    "tank.swapped": Case({"tank.temperature": lambda h, v: 20.0 + 0 * v, "house.temperature": at(20.0)}),
    "tank.oxygen_noisy": Case(
        {"tank.oxygen": lambda h, v: v + 0.45 * (np.arange(len(v)) % 4 < 2) - 0.45 * (np.arange(len(v)) % 4 >= 2)}
    ),
    "tank.oxygen_off": Case({"hand.oxygen": at(7.2), "tank.oxygen": at(6.6)}, hour=7.0, note="hand_test"),
    "tank.oxygen_fouled": Case({"hand.oxygen": at(8.0), "tank.oxygen": at(6.6)}, hour=7.0, note="hand_test"),
    "tank.ph_off": Case({"hand.ph": at(7.6)}, hour=7.0, note="hand_test"),
    "tank.oxygen_stuck": Case({"tank.oxygen": at(6.4)}),
    **{f"{name}_silent": Case(silent=(name,)) for name in WET},
    **{f"{name}_silent": Case(silent=(name,)) for name in ("house.temperature", "mains.present", "tank.ph")},
    "water.probes_silent": Case(silent=("loop.flow", "tank.level", "sump.level")),
    "readings.stopped": Case(silent=(*WET, "mains.present")),
}
"""Rule -> what makes it speak; `bed*` for each bed."""


@cache
def plan() -> Plan:
    """The shipped one, but the keeper is told of what is low too."""
    shipped = load_site(SITE).plan
    keeper = PersonSettings(id="keeper", priorities=tuple(p for p in Priority if p is not Priority.LOG))
    return replace(shipped, persons=(keeper,))


@cache
def recorded(kind: str, days: int) -> Recording:
    """A day, played so many times one after the other."""
    recording = simulate(kind).recording()
    blocks = {}
    for name, block in recording.blocks.items():
        times = np.concatenate([block.times + DAY * day for day in range(days)])
        blocks[name] = Block(name, times, np.tile(block.values, days), np.tile(block.flags, days))
    return Recording(blocks, recording.series)


def written_over(case: Case, bed: str) -> tuple[Recording, int]:
    """The day with what is shown instead, and when that begins (ms UTC)."""
    whole = recorded(case.kind, case.days)
    span = whole.span()
    assert span is not None
    begin = span[0] + round(case.hour * HOUR)
    blocks = dict(whole.blocks)
    for name, shown in case.shown.items():
        point = name.format(bed)
        block, step = blocks[point], float(place.POINTS[point].resolution)
        late = block.times >= begin
        values = block.values.copy()
        hours = (block.times[late] - begin) / HOUR
        values[late] = np.rint(shown(hours, block.values[late] * step) / step).astype(np.int64)
        blocks[point] = Block(point, block.times, values, block.flags)
    for point in case.silent:
        block = blocks[point]
        early = block.times < begin
        blocks[point] = Block(point, block.times[early], block.values[early], block.flags[early])
    return Recording(blocks, whole.series), begin


@cache
def first_message(rule: str) -> Event | None:
    """The first message of a rule in its case."""
    bed = rule[3] if rule.startswith("bed") else ""
    case = CASES.get(rule) or CASES[rule.replace(f"bed{bed}", "bed*")]
    recording, begin = written_over(case, bed)
    acts = [Act(begin + MINUTE, ActKind.NOTE, data={"kind": case.note})] if case.note else []
    events = replay(plan(), recording, acts=acts).events
    return next((event for event in events if event.type == "notice" and event.body["rule"] == rule), None)


NAMES = [name.replace("*", bed) for name in CASES for bed in (("1", "2", "3") if "*" in name else ("",))]


@pytest.mark.parametrize("rule", NAMES)
def test_a_rule_speaks_with_its_own_words(rule: str) -> None:
    """Its title and what to do first reach the keeper, whole, with every number filled in."""
    message = first_message(rule)
    assert message is not None, f"{rule} told nobody"
    title, text = message.body["title"], message.body["text"]
    assert len(title) <= TITLE_SIZE
    assert len(text) <= BODY_SIZE
    for told in (title, text):
        assert "…" not in told
        assert "{" not in told
        assert "no reading" not in told.lower() or rule.endswith(("_silent", "stopped"))
    assert "First: " in text


def test_every_rule_of_the_table_was_seen_to_speak() -> None:
    """Here, or on a day of the simulator with the failure that it is for."""
    by_days = {
        "loop.stopped", "loop.jammed", "loop.slow", "loop.very_slow", "sump.low", "loop.burst", "loop.valve_shut",
        "tank.siphoned", "bed2.stays_full", "bed2.stays_low", "bed1.no_inflow", "loop.leak", "loop.leak_fast",
        "filter.clogged", "filter.blocked", "airpump.stopped", "tank.oxygen_low", "tank.oxygen_critical",
        "topup.untreated", "topup.not_known", "vents.stuck_shut", "vents.stuck_shut_hot", "fan.dead",
        "fan.against_shut_vents", "groundloop.dead_cold", "house.hot", "house.cold", "house.frost", "vents.stuck_open",
        "mains.off", "mains.breaker", "loop.flow_stuck", "loop.splash",
    }  # fmt: skip
    named = {rule for row in table().values() for rule in row.rules if not rule.startswith("tidebed.")}
    alike = {name for name in named if name.startswith("bed") and name[4:] in {"." + w for w in (
        "stays_full", "stays_low", "no_inflow", "period")}}  # fmt: skip
    assert named - alike - by_days - {"water.used"} <= set(NAMES)
