"""How long does a year take: one band rule, and a site of 20 points under 30 rules, in lean passes and against pandas?

Run by hand: `python -m tests.benchmarks.year [--pandas]`. A lean pass is two comparisons of a point-year with their
edges and one search, which no rule of this kind can do without. Everything is timed in one run; the best of a few
rounds counts.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rules.block import Block
from rules.conditions import KINDS
from rules.engine import Engine
from rules.events import Event
from rules.plan import Plan, PointPlan
from tests.benchmarks.lean import lean_pass

MINUTES = 525_600
START = 1_767_225_600_000
TIMES = START + np.arange(MINUTES, dtype=np.int64) * 60_000
FLAGS = np.full(MINUTES, 2, np.uint8)
Ints = NDArray[np.int64]


def best(run: Callable[[], object], rounds: int) -> float:
    """Seconds of the fastest of a few rounds."""
    spent = []
    for _ in range(rounds):
        begun = time.process_time()
        run()
        spent.append(time.process_time() - begun)
    return min(spent)


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
    """Twenty points of a glasshouse."""
    year = Year()
    for i in range(6):
        year.add(f"air{i}.temperature", "air_temperature", "degC", "0.01", year.warmth(18, 6, 6, 0.05))
    for i in range(3):
        year.add(f"water{i}.temperature", "water_temperature", "degC", "0.01", year.warmth(22, 1, 4, 0.02))
    for i in range(2):
        oxygen = 6.5 + np.sin(year.day) + year.noise(0.08)
        year.add(f"tank{i}.oxygen", "dissolved_oxygen", "mg/L", "0.01", oxygen)
    for i in range(3):
        part = (np.arange(MINUTES) % 35) / 35
        level = np.where(part < 0.85, 2.5 + 19.5 * part / 0.85, 22 - 19.5 * (part - 0.85) / 0.15)
        year.add(f"bed{i}.level", "level", "cm", "0.1", level + year.noise(0.1))
    flow, current = 17.2 + year.noise(0.2), 0.42 + year.noise(0.01)
    for begin in range(40_000, MINUTES, 90_000):
        flow[begin : begin + 120] = current[begin : begin + 120] = 0
    year.add("loop.flow", "flow", "L/min", "0.1", flow)
    year.add("pump.current", "current", "A", "0.01", current)
    year.add("tank.ph", "ph", "pH", "0.01", 6.8 + 0.1 * np.sin(year.day) + year.noise(0.01))
    year.add("house.humidity", "relative_humidity", "%", "0.1", 70 + 15 * np.sin(year.day) + year.noise(0.5))
    year.add("soil.moisture", "soil_moisture", "%", "0.1", 30 + 2 * np.sin(year.day / 5) + year.noise(0.2))
    year.add("tank.level", "level", "cm", "0.1", 86.2 + year.noise(0.1))
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


def judge(points: list[PointPlan], columns: dict[str, Ints], rules: list[dict[str, Any]]) -> list[Event]:
    """From columns in memory to events."""
    made = tuple(KINDS[rule["kind"]].model_validate(rule) for rule in rules)
    engine = Engine(Plan("Year", "Europe/Dublin", tuple(points), made), START)
    blocks = [Block(point.id, TIMES, columns[point.id], FLAGS, ordered=True) for point in points]
    return engine.step(blocks, [], int(TIMES[-1]) + 1000)


def in_pandas(columns: dict[str, Ints], rules: list[dict[str, Any]]) -> None:
    """The bands and rates alone, as one would write them plainly; the other kinds are left out, in pandas' favour."""
    import pandas as pd  # type: ignore[import-untyped]  # the library has no type information

    index = pd.to_datetime(TIMES, unit="ms")
    for rule in rules:
        if rule["kind"] == "band":
            series = pd.Series(columns[rule["point"]], index=index)
            for side in ("high", "low"):
                if side in rule:
                    limit = float(rule[side]) * 100
                    beyond = series > limit if side == "high" else series < limit
                    group = (beyond != beyond.shift()).cumsum()
                    frame = pd.DataFrame({"beyond": beyond, "group": group})
                    frame.reset_index().groupby("group").agg({"beyond": "first", "index": ["first", "last"]})
        elif rule["kind"] == "rate":
            series = pd.Series(columns[rule["point"]].astype(float), index=index)
            minutes = pd.Series((TIMES - START) / 60_000, index=index)
            window = rule.get("window", "30 min").replace(" ", "")
            series.rolling(window).cov(minutes) / minutes.rolling(window).var()


def main() -> None:
    """Print seconds and ratios."""
    year = make_year()
    rules = make_rules()
    air = year.points[0]
    lean = best(lambda: lean_pass(year.columns[air.id], 3400, 100), 20)
    warm = {"id": "air.warm", "kind": "band", "point": air.id, "high": 34, "deadband": 1, "on_delay": "15 min"}
    band = best(lambda: judge([air], year.columns, [warm]), 20)
    whole = best(lambda: judge(year.points, year.columns, rules), 5)
    events = judge(year.points, year.columns, rules)
    print(f"lean pass over a point-year           {lean * 1e3:8.2f} ms")
    print(f"one band rule over a point-year       {band * 1e3:8.2f} ms   {band / lean:5.1f} lean passes (wanted 1.5)")
    print(f"{len(year.points)} points, {len(rules)} rules, to {len(events)} events  {whole * 1e3:8.1f} ms   ", end="")
    print(f"{whole / lean / 30:5.1f} times thirty lean passes (wanted 20)")
    print(f"peak memory of this process           {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:8.0f} MB")
    if "--pandas" in sys.argv:
        begun = time.process_time()
        in_pandas(year.columns, rules)
        spent = time.process_time() - begun
        print(
            f"bands and rates alone in pandas       {spent * 1e3:8.0f} ms   {spent / whole:5.1f} times the whole engine"
        )


if __name__ == "__main__":
    main()
