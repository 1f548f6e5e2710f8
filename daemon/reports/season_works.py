"""What did stages, beds and the water do over a season, and what did people note?"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from decimal import Decimal, InvalidOperation
from statistics import median, quantiles
from typing import NamedTuple

import numpy as np

from daemon.settings_changes import KIND as SETTINGS
from rules.acts import Act, ActKind
from rules.alarms import State
from rules.block import Block
from rules.conditions.cycle import CycleSettings
from rules.events import Event
from rules.plan import PointPlan
from rules.units import parse_amount


class StageTime(NamedTuple):
    """How long (ms) and how often a stage was engaged; alone: how often the stage after it never had to follow."""

    stage: str
    action: str
    engaged: int
    times: int
    alone: int


class Cycles(NamedTuple):
    """Drains of a bed, by its level's point; periods between them in ms: typical, and the span that holds eight of ten;
    None of too few."""

    point: str
    drains: int
    typical: int | None
    spread: tuple[int, int] | None


class Stop(NamedTuple):
    """One time that the water stood. lasted: ms; why: as the log says it."""

    rule: str
    at: int
    lasted: int
    why: str


class Noted(NamedTuple):
    """What people entered of one kind: how often, and how much in all by unit."""

    kind: str
    times: int
    amounts: dict[str, Decimal]


def stage_times(events: Iterable[Event], start: int, end: int) -> list[StageTime]:
    """From decisions up to `end`, earlier ones included, in order; in the order in which stages first engaged."""
    since: dict[str, int] = {}
    spans: dict[str, list[tuple[int, int]]] = {}
    does: dict[str, str] = {}
    for event in events:
        stage, action = event.body["stage"], event.body["action"]
        does[stage] = event.body.get("does", "")
        if action == "engage":
            since.setdefault(stage, event.t)
        elif action == "release" and stage in since:
            spans.setdefault(stage, []).append((since.pop(stage), event.t))
    for stage, at in since.items():
        spans.setdefault(stage, []).append((at, end))
    found = []
    for stage, own in spans.items():
        within = [(max(a, start), min(b, end)) for a, b in own if b > start and a < end]
        if within:
            others = [a for other, theirs in spans.items() if other != stage for a, _ in theirs]
            alone = sum(not any(a < at < b for at in others) for a, b in within)
            found.append(StageTime(stage, does[stage], sum(b - a for a, b in within), len(within), alone))
    return found


class Drains:
    """Counts the drains of a bed: each ends at the first reading at or below the low mark after one at or above the
    high mark. No period spans a silence."""

    def __init__(self, rule: CycleSettings, point: PointPlan) -> None:
        self.point = point
        self._low = math.floor(parse_amount(rule.low, point.units) / point.resolution)
        self._high = math.ceil(parse_amount(rule.high, point.units) / point.resolution)
        self._count = 0
        self._periods: list[int] = []
        self._full = False
        self._ended: int | None = None
        self._last: int | None = None

    def add(self, part: Block) -> None:
        """Usable readings, later than those before, in order of time."""
        times, values = part.times, part.values
        if not len(times):
            return
        silent = np.diff(times, prepend=times[:1] if self._last is None else self._last) > self.point.stale_after
        marked = np.flatnonzero((values <= self._low) | (values >= self._high) | silent)
        for time, value, gap in zip(times[marked].tolist(), values[marked].tolist(), silent[marked], strict=True):
            if gap:
                self._full, self._ended = False, None
            if value >= self._high:
                self._full = True
            elif value <= self._low and self._full:
                self._drained(time)
        self._last = int(times[-1])

    def _drained(self, at: int) -> None:
        self._full = False
        self._count += 1
        if self._ended is not None:
            self._periods.append(at - self._ended)
        self._ended = at

    def told(self) -> Cycles:
        """So far."""
        spread = None
        if len(self._periods) >= 10:
            tenths = quantiles(self._periods, n=10)
            spread = (round(tenths[0]), round(tenths[-1]))
        typical = round(median(self._periods)) if self._periods else None
        return Cycles(self.point.id, self._count, typical, spread)


def stops(events: Iterable[Event], rules: Sequence[str], start: int, end: int) -> list[Stop]:
    """Each activation of a `stopped` rule that nothing explained, from alarm events up to `end`."""
    standing: dict[str, Event] = {}
    found: list[Stop] = []

    def over(rule: str, at: int) -> None:
        begun = standing.pop(rule)
        if at > start:
            found.append(Stop(rule, begun.t, at - begun.t, str(begun.body.get("why") or "")))

    for event in events:
        body = event.body
        if body["rule"] not in rules or body["side"] != "stopped":
            continue
        rule, state = body["rule"], State(body["state"])
        if state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED):
            standing.setdefault(rule, event)
        elif rule in standing and state not in (State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE):
            over(rule, event.t)
    for rule in list(standing):
        over(rule, end)
    return sorted(found, key=lambda stop: stop.at)


def noted(acts: Iterable[Act]) -> list[Noted]:
    """What people entered, by kind, the most frequent first."""
    times: Counter[str] = Counter()
    amounts: dict[str, dict[str, Decimal]] = defaultdict(dict)
    for act in acts:
        kind = act.data.get("kind", "")
        if act.kind is not ActKind.NOTE or kind in ("", SETTINGS):
            continue
        times[kind] += 1
        try:
            amount = Decimal(act.data["amount"])
        except (KeyError, InvalidOperation):
            continue
        unit = act.data.get("unit", "")
        amounts[kind][unit] = amounts[kind].get(unit, Decimal(0)) + amount
    return [Noted(kind, count, amounts.get(kind, {})) for kind, count in times.most_common()]
