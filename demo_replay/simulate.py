"""How is a day in the invented glasshouse made? Weather, house, water, life and probes, one after the other."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date as Date  # noqa: N812 - `date` is the name of an argument here
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from adapters.recordings.recording import Recording
from demo_replay import place
from demo_replay.kinds import KINDS, DayKind
from demo_replay.labels import HOUR, Label, labels
from demo_replay.physics.chance import Chance, Floats
from demo_replay.physics.chemistry import chemistry
from demo_replay.physics.climate import STEP as CLIMATE_STEP
from demo_replay.physics.climate import Drives, climate
from demo_replay.physics.loop import STEP as WATER_STEP
from demo_replay.physics.loop import Loop, circulate
from demo_replay.physics.weather import outside
from demo_replay.place import POINTS, PointInfo
from demo_replay.probes import Column, measure
from demo_replay.works import Bools, Part, Works, works
from rules.block import Block
from rules.flags import Flag

DEFAULT_SEED = 39
"""The seed of the recorded days: one with which the pump trips at 02:12 local time."""
EVERY = CLIMATE_STEP // WATER_STEP
CM_OF_WATER = 0.0981  # kPa
CONDUCTIVITY, SALTIER = 850.0, 4.0  # uS/cm, and a day
GROUNDWATER = 85.0  # cm under the root zone
_DRIVES: tuple[Part, ...] = ("vents opening", "vents shutting", "fan", "ground fan")
FLOAT_CHARGE, AT_REST, SINKING = 13.6, 12.7, 0.08  # V, V, V/h
AMMONIA, NITRITE, CARBONATE = 0.4, 0.1, 50.04  # mg/L, mg/L, mg/L of calcium carbonate for each mmol/L


@dataclass(frozen=True, slots=True)
class SimulatedDay:
    """What the probes sent on a simulated day, and what was true."""

    kind: str
    seed: int
    begin_ms: int
    end_ms: int
    columns: dict[str, Column]
    """Point -> (times int64[n] ms UTC, counts int64[n] of the point's resolution), sorted by time."""
    points: dict[str, PointInfo]
    labels: list[Label]
    steps: NDArray[np.int64]
    """ms UTC of the true columns."""
    truth: dict[str, Floats]
    """Point -> its true value at each of `steps`, in its unit."""
    loop: Loop

    def recording(self) -> Recording:
        """What the probes sent, as a recording that can be replayed or written."""
        blocks = {
            point: Block(point, times, counts, np.full(len(times), Flag.NOT_EVALUATED, np.uint8))
            for point, (times, counts) in self.columns.items()
        }
        return Recording(blocks, {point: (info.unit, info.resolution) for point, info in self.points.items()})


def simulate(kind: str, seed: int = DEFAULT_SEED, date: Date | None = None) -> SimulatedDay:
    """A day of `kind` that begins on the local `date` (left out: the kind's own).

    Weather, noise and the times of failures differ by `seed`; the same arguments give the same day. Raises ValueError
    for a kind that is not known or a negative seed.
    """
    if kind not in KINDS:
        raise ValueError(f"no kind of day is called {kind!r}; known: {', '.join(KINDS)}")
    if seed < 0:
        raise ValueError(f"seed {seed} is negative; use 0 or more")
    day = KINDS[kind]
    zone = ZoneInfo(place.TIMEZONE)
    first = datetime.combine(date or day.day, datetime.min.time(), tzinfo=zone)
    midnight = _ms(first)
    begin = _ms(first + timedelta(hours=day.begins))
    end = _ms(first + timedelta(hours=day.begins, days=1))
    late = round(float(Chance(seed, "failures").uniform(1, -day.spread, day.spread)[0])) / 60.0
    failures = [failure.shifted(late) for failure in day.failures]

    steps = np.arange(begin, end, WATER_STEP * 1000, dtype=np.int64)
    able = works(steps, midnight, failures)
    truth, water = _truth(day, able, midnight, seed)
    columns = measure(truth, steps, begin, end, midnight, seed, day.probe_faults)
    events = labels(day, failures, truth, steps, midnight, end)
    return SimulatedDay(kind, seed, begin, end, columns, dict(POINTS), events, steps, truth, water)


def _truth(day: DayKind, able: Works, midnight: int, seed: int) -> tuple[dict[str, Floats], Loop]:
    """The true value of every point at each of the water's steps, and the water itself."""
    steps = able.steps
    slow = steps[::EVERY]
    hours = (slow - midnight) / HOUR
    weather = outside(slow, day.weather, seed)
    powered = able.of("mains")[::EVERY] > 0.5
    drives = Drives(*(able.of(part)[::EVERY] > 0.5 for part in _DRIVES))
    house = climate(weather, hours % 24.0, powered, day.start, drives)
    water = circulate(able, _held(house.evaporation, steps), seed)
    life = chemistry(house.water, house.light, water.flow[::EVERY], able.of("air pump")[::EVERY], hours, day.life)
    stepped = {
        "fan.current": house.fan_current,
        "groundloop.current": house.loop_current,
        "vents.open": house.vents,
        "heater.current": house.heater_current,
    }
    gliding = {
        "tank.temperature": house.water,
        "tank.oxygen": life.oxygen,
        "tank.ph": life.ph,
        "house.temperature": house.air,
        "house.humidity": house.humidity,
        "house.light": house.light,
        "low.temperature": house.low,
        "outside.temperature": weather.temperature,
        "groundloop.outlet_temperature": house.loop_outlet,
        "soil.moisture": house.moisture,
        "soil.temperature": house.soil,
        "tank.conductivity": CONDUCTIVITY + SALTIER * (hours - hours[0]) / 24.0,
        "ground.water": GROUNDWATER + 0.0 * hours,
        "battery.voltage": _battery(powered),
        "hand.ammonia": AMMONIA + 0.0 * hours,
        "hand.nitrite": NITRITE + 0.0 * hours,
        "hand.alkalinity": CARBONATE * (day.life.alkalinity - day.life.alkalinity_used * (hours - hours[0]) / 24.0),
        "hand.oxygen": life.oxygen,
        "hand.ph": life.ph,
    }
    truth = {
        "loop.flow": water.flow,
        "pump.current": water.pump_current,
        "airpump.current": water.air_pump_current,
        "mains.present": np.where(able.of("mains") > 0.5, 1.0, 0.0),
        "home.present": np.where(able.of("home mains") > 0.5, 1.0, 0.0),
        "tank.level": water.tank,
        "sump.level": water.sump,
        **{f"bed{b}.level": level for b, level in enumerate(water.beds, start=1)},
        "filter.head": CM_OF_WATER * np.maximum(0.0, water.filter - place.FILTER_OUTLET),
        "floor.wet": np.where(water.spilled > 2.0, 1.0, 0.0),
        **{name: _held(column, steps) for name, column in stepped.items()},
        **{name: np.interp(steps, slow, column) for name, column in gliding.items()},
    }
    return truth, water


def _battery(powered: Bools) -> Floats:
    """V of the board's battery: at its float charge with mains, else falling; invented."""
    without = np.cumsum(~powered) * CLIMATE_STEP / 3600.0
    return np.where(powered, FLOAT_CHARGE, AT_REST - SINKING * without)


def _held(column: Floats, steps: NDArray[np.int64]) -> Floats:
    return np.repeat(column, EVERY)[: len(steps)]


def _ms(moment: datetime) -> int:
    return int(moment.timestamp()) * 1000
