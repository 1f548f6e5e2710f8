"""What is there to tell of a season: readings, stages, water, what people did, and how the watch did?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import NamedTuple

from daemon.reports.figures import Activation, Figures, figures
from daemon.reports.season_points import Course, Midnights, marks_of
from daemon.reports.season_readings import believed
from daemon.reports.season_works import Cycles, Drains, Noted, StageTime, Stop, noted, stage_times, stops
from daemon.selfwatch.names import OWN
from daemon.settings_changes import KIND as SETTINGS
from daemon.site.load import Site
from daemon.store import StoreReader
from demo_replay.labels import Label
from rules.conditions.cycle import CycleSettings
from rules.conditions.stopped import StoppedSettings
from rules.errors import SettingError
from rules.events import show_time
from rules.local_time import Zone

PLAIN = ("state",)
"""Quantities whose lowest and highest say nothing."""


class RuleTold(NamedTuple):
    """How often a rule alarmed; real: how many of them a label confirms, None without labels; typical: ms until
    somebody acknowledged, None where nobody did."""

    rule: str
    priority: str
    times: int
    real: int | None
    seen: int
    typical: int | None


@dataclass(frozen=True, slots=True)
class Season:
    """start, end: ms UTC; off: ms within that the daemon did not run; courses: of points with readings, in the order of
    the site file; unheard: those without; settings: (ms UTC, what was changed); alarms: the standard's figures;
    by_rule: the most frequent first."""

    start: int
    end: int
    off: int
    courses: list[Course]
    unheard: list[str]
    stages: list[StageTime]
    cycles: list[Cycles]
    stops: list[Stop]
    notes: list[Noted]
    settings: list[tuple[int, str]]
    alarms: Figures
    by_rule: list[RuleTold]

    @property
    def readings(self) -> int:
        """Usable ones, of all points."""
        return sum(one.readings for one in self.courses)


def season(site: Site, store: StoreReader, start: int, end: int, labels: Sequence[Label] | None = None) -> Season:
    """What the store holds of [start, end), from its first reading to its last. labels: what was real, where somebody
    marked it. Raises SettingError where it holds nothing of that."""
    plan, zone = site.plan, Zone(site.plan.timezone)
    span = store.span()
    if span is None or span[1] < start or span[0] >= end:
        holds = "nothing" if span is None else f"readings from {show_time(span[0])} to {show_time(span[1])}"
        raise SettingError(f"{site.store_path} holds {holds}; choose --from and --to within")
    start, end = max(start, span[0]), min(end, span[1] + 1)
    midnights = Midnights(zone, start, end)
    points = {point.id: point for point in plan.points if not point.id.startswith(OWN)}
    courses = {name: Course(point, marks_of(plan, point), midnights) for name, point in points.items()}
    stopped = [rule.id for rule in plan.rules if isinstance(rule, StoppedSettings)]
    # The rules about one bed share its marks as a rule; the first counts for all.
    cycles = {r.point: r for r in reversed(plan.rules) if isinstance(r, CycleSettings) and r.point in points}
    beds = [Drains(cycles[name], point) for name, point in points.items() if name in cycles]
    for day in believed(points.values(), store, start, end, zone):
        for name, part in day.items():
            courses[name].add(part)
        for bed in beds:
            if bed.point.id in day:
                bed.add(day[bed.point.id])
    for one in courses.values():
        one.end(end)
    alarm_events = store.events(None, end - 1, type="alarm")
    told = figures((e for e in alarm_events if not e.body["rule"].startswith(OWN)), start, end, zone)
    acts = store.acts(start - 1, end - 1)
    off = [(e.t, int(e.body["until"])) for e in store.events(None, end - 1, type="off")]
    return Season(
        start=start,
        end=end,
        off=sum(max(0, min(until, end) - max(at, start)) for at, until in off),
        courses=[one for one in courses.values() if one.readings],
        unheard=[name for name, one in courses.items() if not one.readings],
        stages=stage_times(store.events(None, end - 1, type="decision"), start, end),
        cycles=[bed.told() for bed in beds],
        stops=stops(alarm_events, stopped, start, end),
        notes=noted(acts),
        settings=[(act.time, act.text) for act in acts if act.data.get("kind") == SETTINGS],
        alarms=told,
        by_rule=_by_rule(told.new, end, labels),
    )


def _by_rule(new: Sequence[Activation], end: int, labels: Sequence[Label] | None) -> list[RuleTold]:
    own: dict[tuple[str, str], list[Activation]] = {}
    for one in new:
        own.setdefault((one.alarm.partition(" ")[0], one.priority), []).append(one)
    found = []
    for (rule, priority), every in own.items():
        waits = [one.seen - one.raised for one in every if one.seen is not None]
        real = None if labels is None else sum(_is_real(one, rule, end, labels) for one in every)
        found.append(RuleTold(rule, priority, len(every), real, len(waits), round(median(waits)) if waits else None))
    return sorted(found, key=lambda one: (-one.times, one.rule))


def _is_real(one: Activation, rule: str, end: int, labels: Sequence[Label]) -> bool:
    until = end if one.ended is None else one.ended
    return any(label.rule == rule and label.start_ms <= until and label.end_ms >= one.raised for label in labels)
