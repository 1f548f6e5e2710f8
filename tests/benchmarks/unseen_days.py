"""Do the shipped rules, and what `tidebed tune` recommends, hold on days that nobody tuned them on?

    .venv/bin/python -m tests.benchmarks.unseen_days [--seeds N] [--kinds KIND...] [--tune]

Days are simulated with other seeds (other weather, noise and times of failure) and replayed in memory. An alarm is
false where no other rule accounted for it and it catches no event that is labelled with its rule. Beside an event of
another rule it may still be true: such ones are counted apart.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from adapters.recordings import write_csv
from daemon.bench.cases import gather
from daemon.bench.trying import Trying
from daemon.site.load import Site, load_site
from demo_replay.days import SITE, label_lines, path
from demo_replay.episodes import Episode, episodes
from demo_replay.kinds import KINDS, RECORDED
from demo_replay.labels import Label
from demo_replay.replay import replay
from demo_replay.simulate import DEFAULT_SEED, SimulatedDay, simulate
from demo_replay.tuning.scores import EARLY, Scores, together
from demo_replay.tuning.tune import tune
from rules.durations import DAY, HOUR, MINUTE

FIRST_SEED = 1001
AFTERMATH = 3 * HOUR
"""How long after an event its consequences may still show."""
MONTH = 30 * DAY

TRIALS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("tank.oxygen_warn", ("low=4:6:0.1", "on_delay=0 min:30 min:2 min")),
    ("tank.oxygen_low", ("low=3:5:0.1", "on_delay=0 min:30 min:2 min")),
    ("tank.oxygen_critical", ("low=2:4:0.1", "on_delay=0 min:20 min:1 min")),
    ("house.warm", ("high=28:36:0.5", "on_delay=0 min:60 min:5 min")),
    ("house.hot", ("high=32:40:0.5", "on_delay=0 min:60 min:5 min")),
    ("house.cool", ("low=6:14:0.5", "on_delay=0 min:60 min:5 min")),
    ("house.cold", ("low=4:10:0.5", "on_delay=0 min:60 min:5 min")),
    ("house.frost", ("low=0:6:0.5", "on_delay=0 min:30 min:2 min")),
    ("loop.stopped", ("needed=1:6:1", "on_delay=0 s:10 min:30 s")),
    ("loop.leak", ("high=2:12:0.5", "on_delay=0 min:120 min:15 min")),
    ("floor.wet_now", ("on_delay=0 min:20 min:1 min",)),
    ("bed2.stays_low", ("empty=10 min:120 min:5 min",)),
    ("tank.oxygen_silent", ("on_delay=0 min:30 min:1 min",)),
    ("tank.ph_stuck", ("window=30 min:6 h:30 min", "tolerance=0:0.05:0.01")),
    ("low.temperature_code", ("on_delay=0 min:30 min:2 min",)),
)
"""What `--tune` tries for each rule that the recorded days have labels of."""


@dataclass(slots=True)
class Found:
    """What one rule did. delays: of caught events, ms; false: (kind, seed, side, local hour) of each."""

    caught: int = 0
    missed: list[str] = field(default_factory=list)
    stood: list[str] = field(default_factory=list)
    """Events that were not caught because the alarm had stood for over an hour already."""
    delays: list[int] = field(default_factory=list)
    false: list[str] = field(default_factory=list)
    beside: list[str] = field(default_factory=list)


def main(words: Sequence[str] | None = None) -> None:
    """Print what the rules did on recorded and on unseen days."""
    parser = argparse.ArgumentParser(description="shipped rules, and tuned ones, on days with other seeds")
    parser.add_argument("--seeds", type=int, default=20, help="how many other seeds of each kind of day")
    parser.add_argument("--kinds", nargs="*", default=list(KINDS), help="kinds of day; left out, all of them")
    parser.add_argument("--tune", action="store_true", help="tune on the recorded days, and judge on the others")
    arguments = parser.parse_args(words)
    site = load_site(SITE)
    seeds = range(FIRST_SEED, FIRST_SEED + arguments.seeds)
    if arguments.tune:
        _judge_tuned(site, seeds)
        return
    own = [(kind, DEFAULT_SEED) for kind in arguments.kinds]
    others = [(kind, seed) for kind in arguments.kinds for seed in seeds]
    for title, days in (("seed of the recorded days", own), ("unseen seeds", others)):
        _print(title, len(days), _shipped(site, days))


def _shipped(site: Site, days: Iterable[tuple[str, int]]) -> dict[str, Found]:
    found: dict[str, Found] = {}
    for kind, seed in days:
        day = simulate(kind, seed)
        replayed = replay(site.plan, day.recording())
        alarms = [one for one in episodes(replayed.events) if one.priority != "log"]
        _judge(found, day, alarms)
        print(f"\r{kind} {seed}        ", end="", file=sys.stderr, flush=True)
    print("\r" + " " * 40, end="\r", file=sys.stderr)
    return found


def _judge(found: dict[str, Found], day: SimulatedDay, alarms: Sequence[Episode]) -> None:
    for label in day.labels:
        one = found.setdefault(label.rule, Found())
        catching = [alarm for alarm in alarms if alarm.rule == label.rule and _catches(alarm, label)]
        if catching:
            one.caught += 1
            one.delays.append(max(min(alarm.raised for alarm in catching) - label.start_ms, 0))
        elif any(alarm.rule == label.rule and _stands(alarm, label) for alarm in alarms):
            one.stood.append(f"{day.kind} {day.seed}")
        else:
            one.missed.append(f"{day.kind} {day.seed}")
    for alarm in alarms:
        own = any(alarm.rule == label.rule and _stands(alarm, label) for label in day.labels)
        if alarm.told is None or own:
            continue
        one = found.setdefault(alarm.rule, Found())
        told = f"{day.kind} {day.seed} {alarm.side} {(alarm.raised - day.begin_ms) / HOUR:.1f} h"
        amid = any(label.start_ms <= alarm.raised <= label.end_ms + AFTERMATH for label in day.labels)
        (one.beside if amid else one.false).append(told)


def _stands(alarm: Episode, label: Label) -> bool:
    return alarm.raised <= label.end_ms and (alarm.ended is None or alarm.ended > label.start_ms)


def _catches(alarm: Episode, label: Label) -> bool:
    in_time = label.start_ms - EARLY <= alarm.raised <= label.end_ms
    return in_time and (alarm.ended is None or alarm.ended > label.start_ms)


def _print(title: str, days: int, found: dict[str, Found]) -> None:
    print(f"{title}: {days} days")
    print(f"  {'rule':<24} {'caught':>6} {'missed':>6} {'median':>8} {'worst':>8} {'false':>6} {'beside others':>14}")
    for rule, one in sorted(found.items()):
        median, worst = (f"{f(one.delays) / MINUTE:.1f}" if one.delays else "-" for f in (np.median, max))
        print(
            f"  {rule:<24} {one.caught:>6} {len(one.missed):>6} {median:>8} {worst:>8} {len(one.false):>6} "
            f"{len(one.beside):>14}"
        )
    false = sum(len(one.false) for one in found.values())
    beside = sum(len(one.beside) for one in found.values())
    missed = sum(len(one.missed) for one in found.values())
    print(
        f"  in all: {missed} missed, {false} false ({false * MONTH / DAY / days:.2f} in 30 days), {beside} beside "
        "events of other rules; delays in minutes"
    )
    for rule, one in sorted(found.items()):
        for word, cases in (
            ("missed", one.missed),
            ("stood already", one.stood),
            ("false", one.false),
            ("beside", one.beside),
        ):
            if cases:
                print(f"    {rule} {word}: {', '.join(cases[:6])}{' ...' if len(cases) > 6 else ''}")


def _judge_tuned(site: Site, seeds: Iterable[int]) -> None:
    """Tune on the recorded days and score the choice on others."""
    recorded = [str(path(kind)) for kind in RECORDED]
    with tempfile.TemporaryDirectory() as folder:
        unseen = list(_written(Path(folder), seeds))
        print(f"{'rule':<22} {'setting':<40} {'recorded days':<26} {'unseen days: ' + str(len(unseen))}")
        for rule, vary in TRIALS:
            trying = Trying(site, rule, vary, None)
            tuned = tune(trying.trial, gather(site, trying.trial, recorded, None).cases, trying.variants)
            number = tuned.choice.setting
            setting = {} if number is None else trying.trial.grid.setting(number)
            varied = [f"{key}={value}:{value}:1{_unit(value)}" for key, value in setting.items()] or [
                "on_delay=0 s:0 s:1 s"
            ]
            one = Trying(site, rule, varied, trying.trial.side)
            judged = tune(one.trial, gather(site, one.trial, unseen, None).cases, one.variants)
            chosen = together([judged.scores]) if number is not None else judged.today
            told = ", ".join(f"{key}={value}" for key, value in setting.items()) or "today's"
            before = tuned.today if number is None else tuned.scores.rows([number])
            print(f"{rule:<22} {told:<40} {_brief(before):<26} {_brief(chosen)}")
            print(f"{'':<22} {'today':<40} {_brief(tuned.today):<26} {_brief(judged.today)}")


def _unit(value: object) -> str:
    return " " + str(value).partition(" ")[2] if isinstance(value, str) else ""


def _brief(one: Scores | None) -> str:
    if one is None:
        return "-"
    worst = one.worst_delay()[0] / MINUTE
    a_month = one.false[0] * MONTH / max(one.span, 1)
    return f"{one.caught[0]}+{one.missed[0]}- {worst:.0f} min {one.false[0]}f ({a_month:.1f}/month)"


def _written(folder: Path, seeds: Iterable[int]) -> Iterable[str]:
    for kind in RECORDED:
        for seed in seeds:
            day = simulate(kind, seed)
            recording = day.recording()
            to = folder / f"{kind}_{seed}.csv"
            write_csv(to, recording.blocks.values(), recording.series)
            (folder / f"{kind}_{seed}.labels.csv").write_text("".join(label_lines(day)), encoding="utf-8")
            yield str(to)


if __name__ == "__main__":
    main()
