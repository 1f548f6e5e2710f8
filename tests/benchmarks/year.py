"""How long does a year take: one band rule, and a site of 20 points under 31 rules, in lean passes and against pandas?

    .venv/bin/python -m tests.benchmarks.year [ROUNDS]

A lean pass is two comparisons of a point-year with their edges and one search, which no rule of this kind can do
without. The band rule is judged by an engine that stands; the whole begins with settings. Each figure is the least
processor time of several rounds, in each of which all are measured in turn: so a busy machine slows both sides of a
ratio alike. Pandas is at work on the same rules (see plain_pandas), and its alarms must begin when the engine's do.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Any

from rules.block import Block
from rules.conditions import KINDS
from rules.engine import Engine
from rules.events import Event
from rules.plan import Plan, PointPlan
from tests.benchmarks.lean import lean_pass
from tests.benchmarks.made_year import FLAGS, START, TIMES, Ints, make_rules, make_year


def build(points: list[PointPlan], rules: list[dict[str, Any]]) -> Engine:
    """An engine that has heard nothing yet."""
    made = tuple(KINDS[rule["kind"]].model_validate(rule) for rule in rules)
    return Engine(Plan("Year", "Europe/Dublin", tuple(points), made), START)


def feed(engine: Engine, columns: dict[str, Ints]) -> list[Event]:
    """From columns in memory to events, in one step."""
    blocks = [Block(name, TIMES, columns[name], FLAGS, ordered=True) for name in engine.points]
    return engine.step(blocks, [], int(TIMES[-1]) + 1000)


def judge(points: list[PointPlan], columns: dict[str, Ints], rules: list[dict[str, Any]]) -> list[Event]:
    """From settings and columns to events."""
    return feed(build(points, rules), columns)


def begun(events: list[Event]) -> dict[tuple[str, str], list[int]]:
    """(rule, side) -> when its alarms begin, ms."""
    found: dict[tuple[str, str], list[int]] = {}
    for event in events:
        if event.type == "alarm" and event.body["state"] == "unacknowledged":
            found.setdefault((event.body["rule"], event.body["side"]), []).append(event.t)
    return found


def least(works: dict[str, tuple[Callable[[], Callable[[], object]], int]], rounds: int) -> dict[str, float]:
    """Least processor seconds of each work over all rounds, in each of which it is done so many times in a row.

    works: name -> (what makes ready and gives the work, how often); making ready is not counted.
    """
    spent = dict.fromkeys(works, float("inf"))
    for _ in range(rounds):
        for name, (prepare, times) in works.items():
            for work in [prepare() for _ in range(times)]:
                begin = time.process_time()
                work()
                spent[name] = min(spent[name], time.process_time() - begin)
    return spent


def main() -> int:
    """Print seconds and ratios beside their goals; 1 where one is missed."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    year, rules = make_year(), make_rules()
    air = year.points[0]
    warm = {"id": "air.warm", "kind": "band", "point": air.id, "high": 34, "deadband": 1, "on_delay": "15 min"}
    events = judge(year.points, year.columns, rules)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

    from tests.benchmarks.plain_pandas import PlainPandas

    def in_pandas() -> dict[tuple[str, str], list[int]]:
        return PlainPandas(year.points, TIMES, year.columns).judge(rules)

    differing = {side: found for side, found in in_pandas().items() if found != begun(events).get(side, [])}
    spent = least(
        {
            "lean": (lambda: partial(lean_pass, year.columns[air.id], 3400, 100), 20),
            "build": (lambda: partial(build, [air], [warm]), 20),
            "band": (lambda: partial(feed, build([air], [warm]), year.columns), 20),
            "whole": (lambda: partial(judge, year.points, year.columns, rules), 3),
            "pandas": (lambda: in_pandas, 1),
        },
        rounds,
    )
    lean, band, whole, pandas = (spent[name] * 1e3 for name in ("lean", "band", "whole", "pandas"))
    kinds = {rule["kind"] for rule in rules}
    alarms = sum(map(len, begun(events).values()))
    print(f"lean pass over a point-year         {lean:9.2f} ms")
    print(f"one band rule over a point-year     {band:9.2f} ms, and {spent['build'] * 1e3:.2f} ms to build its engine")
    print(f"{len(year.points)} points under {len(rules)} rules           {whole:9.1f} ms, {len(events)} events")
    print(f"the same rules in plain pandas      {pandas:9.1f} ms, {len(kinds)} kinds, {alarms} alarms")
    print(f"memory of columns and engine, peak  {peak:9.0f} MB")
    ok = not differing
    for words, ratio, goal, most in (
        ("band rule / lean pass", band / lean, 1.5, True),
        ("whole / thirty lean passes", whole / lean / 30, 20, True),
        ("plain pandas / whole", pandas / whole, 20, False),
    ):
        reached = ratio <= goal if most else ratio >= goal
        ok &= reached
        print(f"{words:<30} {ratio:6.2f}  wanted: {'at most' if most else 'at least'} {goal:g}: ", end="")
        print("reached" if reached else "MISSED")
    print(f"alarms that begin otherwise in pandas: {differing or 'none'}")
    return 0 if ok else 1


if __name__ == "__main__":
    sys.exit(main())
