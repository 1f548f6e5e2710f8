"""What do twenty points of a made-up glasshouse read in a year, and which rules watch them?"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rules.plan import PointPlan

MINUTES = 525_600
START = 1_767_225_600_000
TIMES = START + np.arange(MINUTES, dtype=np.int64) * 60_000
FLAGS = np.full(MINUTES, 2, np.uint8)
Ints = NDArray[np.int64]


class Year:
    """Made-up columns: days, weather, seasons and noise, in the steps of usual probes."""

    def __init__(self) -> None:
        self.rng = np.random.default_rng(7)
        self.points: list[PointPlan] = []
        self.columns: dict[str, Ints] = {}
        self.day = np.arange(MINUTES) / 1440 * 2 * np.pi

    def add(self, name: str, quantity: str, unit: str, step: str, values: NDArray[np.float64]) -> None:
        """One point."""
        self.points.append(PointPlan(name, quantity, unit, Fraction(step), 60_000, 180_000))
        self.columns[name] = np.round(values / float(Fraction(step))).astype(np.int64)

    def warmth(self, mean: float, swing: float, season: float, noise: float) -> NDArray[np.float64]:
        """A temperature in steps of 0.1."""
        weather = np.repeat(self.rng.normal(0, 2, MINUTES // 1440 + 1), 1440)[:MINUTES]
        year = season * np.sin(np.arange(MINUTES) / MINUTES * 2 * np.pi)
        return np.round(mean + swing * np.sin(self.day) + year + weather + self.noise(noise), 1)

    def noise(self, size: float) -> NDArray[np.float64]:
        """Of a probe."""
        return self.rng.normal(0, size, MINUTES)


def make_year() -> Year:
    """Twenty points of a glasshouse; the pump stops now and then, a probe sticks, a corner gets hot."""
    year = Year()
    for i in range(6):
        year.add(f"air{i}.temperature", "air_temperature", "degC", "0.01", year.warmth(18, 6, 6, 0.05))
    for i in range(3):
        year.add(f"water{i}.temperature", "water_temperature", "degC", "0.01", year.warmth(22, 1, 4, 0.02))
    stops = [slice(begin, begin + 120) for begin in range(40_000, MINUTES, 90_000)]
    for i in range(2):
        oxygen = 6.5 + np.sin(year.day) + year.noise(0.08)
        for stop in stops:
            oxygen[stop] -= 0.03 * np.arange(120)
        year.add(f"tank{i}.oxygen", "dissolved_oxygen", "mg/L", "0.01", oxygen)
    for i in range(3):
        part = (np.arange(MINUTES) % 35) / 35
        level = np.where(part < 0.85, 2.5 + 19.5 * part / 0.85, 22 - 19.5 * (part - 0.85) / 0.15)
        for number, stop in enumerate(stops):
            level[stop] = (2.5, 12, 22)[(i + number) % 3]
        year.add(f"bed{i}.level", "level", "cm", "0.1", level + year.noise(0.1))
    flow, current = 17.2 + year.noise(0.2), 0.42 + year.noise(0.01)
    for stop in stops:
        flow[stop] = current[stop] = 0
    year.add("loop.flow", "flow", "L/min", "0.1", flow)
    year.add("pump.current", "current", "A", "0.01", current)
    ph = 6.8 + 0.1 * np.sin(year.day) + year.noise(0.01)
    ph[200_000:200_500] = ph[200_000]
    year.add("tank.ph", "ph", "pH", "0.01", ph)
    year.add("house.humidity", "relative_humidity", "%", "0.1", 70 + 15 * np.sin(year.day) + year.noise(0.5))
    year.add("soil.moisture", "soil_moisture", "%", "0.1", 30 + 2 * np.sin(year.day / 5) + year.noise(0.2))
    year.add("tank.level", "level", "cm", "0.1", 86.2 + year.noise(0.1))
    year.columns["air1.temperature"][300_000:300_030] += 2500
    year.columns["tank.level"][stops[2]] -= 40
    return year


def make_rules() -> list[dict[str, Any]]:
    """Thirty rules, all kinds among them, four rates."""
    rules: list[dict[str, Any]] = []
    for i in range(6):
        band = {"high": 34, "low": 4, "deadband": 1, "on_delay": "15 min"}
        rules.append({"id": f"air{i}.band", "kind": "band", "point": f"air{i}.temperature", **band})
    for i in range(3):
        band = {"high": 32, "low": 15, "deadband": "0.5", "on_delay": "10 min"}
        rules.append({"id": f"water{i}.band", "kind": "band", "point": f"water{i}.temperature", **band})
    for i in range(2):
        point = f"tank{i}.oxygen"
        band = {"low": "4.5", "deadband": "0.3", "on_delay": "10 min"}
        rules.append({"id": f"oxygen{i}.band", "kind": "band", "point": point, **band})
    rules.append({"id": "oxygen0.ahead", "kind": "ahead", "point": "tank0.oxygen", "low": 3, "horizon": "60 min"})
    for i in range(3):
        marks = {"low": 6, "high": 19, "longest": "55 min", "full": "50 min", "empty": "50 min"}
        rules.append({"id": f"bed{i}.cycle", "kind": "cycle", "point": f"bed{i}.level", **marks})
    evidence = [
        {"point": "loop.flow", "under": 2},
        {"point": "pump.current", "under": "0.1"},
        {"point": "bed0.level", "moved": 3, "window": "40 min", "weight": -1},
    ]
    rules.append({"id": "loop.stopped", "kind": "stopped", "evidence": evidence, "needed": 2, "on_delay": "90 s"})
    for i in range(3):
        rate = {"rise": "20 degC/h", "fall": "20 degC/h"}
        rules.append({"id": f"air{i}.rate", "kind": "rate", "point": f"air{i}.temperature", **rate})
    rules.append({"id": "ph.rate", "kind": "rate", "point": "tank.ph", "fall": "0.3 pH/h", "window": "2 h"})
    rules.append({"id": "ph.flat", "kind": "flat", "point": "tank.ph", "tolerance": 0, "window": "6 h"})
    spread = {"points": ["air0.temperature", "air1.temperature"], "span": 15}
    rules.append({"id": "air.spread", "kind": "spread", **spread})
    for point in ("loop.flow", "pump.current"):
        rules.append({"id": f"{point}_silent", "kind": "silent", "point": point})
    humid = {"point": "house.humidity", "high": 95, "deadband": 3, "on_delay": "4 h"}
    rules.append({"id": "house.humid", "kind": "band", **humid})
    rules.append({"id": "soil.dry", "kind": "band", "point": "soil.moisture", "low": 20, "on_delay": "6 h"})
    rules.append({"id": "tank.low", "kind": "band", "point": "tank.level", "low": 83, "on_delay": "5 min"})
    rules.append({"id": "all.of", "kind": "all_of", "rules": ["loop.stopped", "tank.low"]})
    rules.append({"id": "any.of", "kind": "any_of", "rules": ["air0.band", "water0.band"]})
    rules.append({"id": "two.of", "kind": "at_least", "rules": ["air0.band", "air1.band", "air2.band"], "n": 2})
    rules.append({"id": "not.dry", "kind": "not", "rule": "soil.dry", "priority": "log"})
    return rules
