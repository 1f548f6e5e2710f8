"""What is the invented glasshouse of the demo days: where it stands, how big it is, and what is measured there?

Every name and number is invented. Sizes follow common practice for a loop of this kind (no source), chosen so that
each bed fills and drains in 30 to 40 minutes and about one tank volume an hour goes round.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

NAME = "Fennelholm glasshouse"
TIMEZONE = "Europe/Dublin"
LATITUDE = 53.0
LONGITUDE = -8.0
ALTITUDE = 60.0  # m

# The house.
FLOOR = 45.0  # m2
AIR_VOLUME = 117.0  # m3
GLAZING = 96.0  # m2

# The loop. Levels in cm above each vessel's own floor; tank and filter share the tank's floor as zero.
TANK_AREA = 12.0  # L per cm: 1.2 m2
TANK_LIP = 85.0  # cm; about 1020 L below it
TANK_OVERFLOW = 90.0  # cm; a safety pipe from here to the sump
TANK_RETURN_PIPE = 70.0  # cm; how deep the return pipe reaches into the tank
FILTER_AREA = 3.0  # L per cm
FILTER_OUTLET = 70.0  # cm
BEDS = 3
BED_AREA = 7.56  # L of water per cm of level: 1.8 m2 of gravel with 0.42 of pores
BED_RIM = 28.0  # cm
SIPHON_CREST = 22.0  # cm; a siphon starts here
SIPHON_SLOTS = 2.5  # cm; and breaks here
SIPHON_DROP = 20.0  # cm from the bed's floor down to the siphon's outlet
SUMP_AREA = 9.0  # L per cm: 0.9 m2
SUMP_RIM = 84.0  # cm
SUMP_INTAKE = 8.0  # cm; below it the pump draws air
PUMP_FLOW = 17.2  # L/min
WATER = 1930.0  # L in all vessels together, as filled

FISH = 12.0  # kg of a warm-water fish


@dataclass(frozen=True, slots=True)
class PointInfo:
    """What a point measures: quantity and unit as in the site file, and what one count means in that unit."""

    quantity: str
    unit: str
    resolution: Fraction


@dataclass(frozen=True, slots=True)
class Probe:
    """How a point is measured. `board`: what polls it; `every`: one poll in so many; `noise`: standard deviation."""

    info: PointInfo
    board: str
    every: int = 1
    noise: float = 0.0
    low: float | None = None
    """The least that the probe can show, in its unit."""


@dataclass(frozen=True, slots=True)
class Board:
    """A board that polls its probes together and dates them with one time; `interval` and `jitter` in ms."""

    interval: int
    jitter: int
    lost: float
    """Share of the polls that never arrive."""
    first: int | None = None
    """ms after the recording begins at which it polls first; left out, somewhere in the first half interval."""


BOARDS: dict[str, Board] = {
    "pump": Board(10_000, 60, 0.0004),
    "level": Board(30_000, 60, 0.0004),
    "tank": Board(60_000, 150, 0.0008),
    "air": Board(60_000, 150, 0.0008),
    "slow": Board(300_000, 500, 0.0),
    "hand": Board(86_400_000, 60_000, 0.0, first=7 * 3_600_000),  # what the keeper tests and enters once a day
}


def _probe(
    quantity: str, unit: str, resolution: str, board: str, noise: float, *, every: int = 1, low: float | None = None
) -> Probe:
    return Probe(PointInfo(quantity, unit, Fraction(resolution)), board, every, noise, low)


PROBES: dict[str, Probe] = {
    "loop.flow": _probe("flow", "L/min", "0.1", "pump", 0.09, low=0),
    "pump.current": _probe("current", "A", "0.01", "pump", 0.003, low=0),
    "airpump.current": _probe("current", "A", "0.01", "pump", 0.002, low=0),
    "mains.present": _probe("state", "1", "1", "pump", 0),
    "home.present": _probe("state", "1", "1", "pump", 0),
    "fan.current": _probe("current", "A", "0.01", "pump", 0.004, every=6, low=0),
    "groundloop.current": _probe("current", "A", "0.01", "pump", 0.004, every=6, low=0),
    "tank.level": _probe("level", "cm", "0.1", "level", 0.05),
    "sump.level": _probe("level", "cm", "0.1", "level", 0.07),
    "bed1.level": _probe("level", "cm", "0.1", "level", 0.06),
    "bed2.level": _probe("level", "cm", "0.1", "level", 0.06),
    "bed3.level": _probe("level", "cm", "0.1", "level", 0.06),
    "tank.temperature": _probe("water_temperature", "degC", "0.01", "tank", 0.012),
    "tank.oxygen": _probe("dissolved_oxygen", "mg/L", "0.01", "tank", 0.025, low=0),
    "filter.head": _probe("pressure", "kPa", "0.01", "tank", 0.006, low=0),
    "floor.wet": _probe("state", "1", "1", "tank", 0),
    "house.temperature": _probe("air_temperature", "degC", "0.1", "air", 0.07),
    "house.humidity": _probe("relative_humidity", "%", "0.1", "air", 0.3, low=0),
    "low.temperature": _probe("air_temperature", "degC", "0.1", "air", 0.07),
    "outside.temperature": _probe("air_temperature", "degC", "0.1", "air", 0.05),
    "groundloop.outlet_temperature": _probe("air_temperature", "degC", "0.1", "air", 0.05),
    "house.light": _probe("ppfd", "umol/m2/s", "1", "air", 2.0, low=0),
    "vents.open": _probe("state", "1", "1", "air", 0),
    "tank.ph": _probe("ph", "pH", "0.01", "slow", 0.008),
    "soil.moisture": _probe("soil_moisture", "%", "0.1", "slow", 0.08, every=3),
    "soil.temperature": _probe("soil_temperature", "degC", "0.1", "slow", 0.03, every=3),
    "heater.current": _probe("current", "A", "0.1", "slow", 0, low=0),
    "battery.voltage": _probe("voltage", "V", "0.1", "slow", 0, low=0),
    "tank.conductivity": _probe("conductivity", "uS/cm", "1", "slow", 1.0, low=0),
    "ground.water": _probe("level", "cm", "1", "slow", 0, every=3),
    "hand.ammonia": _probe("concentration", "mg/L", "0.01", "hand", 0.05, low=0),
    "hand.nitrite": _probe("concentration", "mg/L", "0.01", "hand", 0.02, low=0),
    "hand.alkalinity": _probe("concentration", "mg/L", "1", "hand", 1.0, low=0),
    "hand.oxygen": _probe("dissolved_oxygen", "mg/L", "0.1", "hand", 0.05, low=0),
    "hand.ph": _probe("ph", "pH", "0.1", "hand", 0.03),
}
"""Point -> how it is measured."""

POINTS: dict[str, PointInfo] = {name: probe.info for name, probe in PROBES.items()}
"""Point -> quantity, unit and resolution, in the order of the site file."""
