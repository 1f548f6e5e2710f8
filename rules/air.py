"""Which stage of holding the air should run now, and why? Decisions from edges, waiting times and needed conditions."""

from __future__ import annotations

import heapq
from collections.abc import Mapping
from typing import Any, NamedTuple

from rules.delays import due_key
from rules.durations import show_duration
from rules.edges import TRUE, UNKNOWN, Edges, listed, truth_at
from rules.plan import PointPlan
from rules.predicates import Beyond, at_least, at_most, over, under
from rules.running import Running
from rules.span import Span
from rules.stages import StageSettings
from rules.units import parse_amount


class Decision(NamedTuple):
    """A stage engages, releases or is held back at `key`, and why."""

    key: int
    stage: StageSettings
    action: str
    why: str


class _Stage:
    def __init__(self, settings: StageSettings, before: _Stage | None, point: PointPlan) -> None:
        self.settings, self.before = settings, before
        on = parse_amount(settings.on, point.units) / point.resolution
        off = parse_amount(settings.off, point.units) / point.resolution
        high = settings.side == "high"
        self.beyond: Beyond = over(on) if high else under(on)
        self.within: Beyond = at_most(off) if high else at_least(off)
        self.engaged = False
        self.changed: int | None = None
        """Key of the last change; None before the first, when no waiting time counts."""
        self.engaged_at: int | None = None
        self.held = ""
        """Why the present wish is held back; empty when there is none."""


class Air:
    """The stages of a plan, judged one after the other at every instant at which something they look at changes."""

    def __init__(self, stages: tuple[StageSettings, ...], points: Mapping[str, PointPlan]) -> None:
        self.stages: list[_Stage] = []
        for settings in stages:
            found = [s for s in self.stages if s.settings.side == settings.side]
            named = [s for s in self.stages if s.settings.id == settings.follows]
            before = named[0] if settings.follows is not None and named else None
            if settings.follows is None and found:
                before = found[-1]
            self.stages.append(_Stage(settings, before, points[settings.point]))

    def advance(
        self, spans: Mapping[str, Span], conditions: Mapping[str, Edges], before: int, upto: int, running: Running
    ) -> list[Decision]:
        """The decisions after the key `before`, up to and including the key `upto`."""
        if not self.stages:
            return []
        seen: list[tuple[Edges, Edges, Edges]] = []
        keys: set[int] = set()
        for stage in self.stages:
            span = spans[stage.settings.point]
            edges = (stage.beyond.edges(span), stage.within.edges(span), span.silent)
            seen.append(edges)
            for part in (*edges, *(conditions[rule] for rule in stage.settings.only_if)):
                keys.update(listed(part)[0])
        queue = sorted(keys)
        for stage in self.stages:
            for key in self._timers(stage, running):
                if key > before:
                    heapq.heappush(queue, key)
        decisions: list[Decision] = []
        last = -1
        while queue and queue[0] <= upto:
            key = heapq.heappop(queue)
            if key == last:
                continue
            last = key
            for stage, edges in zip(self.stages, seen, strict=True):
                made = self._judge(stage, edges, conditions, key, running)
                if made is not None:
                    decisions.append(made)
                    if made.action != "hold":
                        for other in self.stages:
                            for timer in self._timers(other, running):
                                if timer > key:
                                    heapq.heappush(queue, timer)
        return decisions

    @staticmethod
    def _timers(stage: _Stage, running: Running) -> list[int]:
        keys = []
        if stage.changed is not None:
            least = stage.settings.min_on if stage.engaged else stage.settings.min_off
            keys.append(due_key(stage.changed, least, running))
        if stage.before is not None and stage.before.engaged_at is not None:
            keys.append(due_key(stage.before.engaged_at, stage.settings.step_delay, running))
        return keys

    def _judge(
        self,
        stage: _Stage,
        edges: tuple[Edges, Edges, Edges],
        conditions: Mapping[str, Edges],
        key: int,
        running: Running,
    ) -> Decision | None:
        beyond, within, silent = (truth_at(part, key) for part in edges)
        settings = stage.settings
        if silent == TRUE:
            stage.held = ""
            if stage.engaged != (settings.safe == "on"):
                return self._change(stage, key, f"{settings.point} is unknown: safe state is {settings.safe}")
            return None
        if (beyond if not stage.engaged else within) != TRUE or beyond == UNKNOWN:
            stage.held = ""
            return None
        why = self._held_back(stage, conditions, key, running)
        if why:
            if why == stage.held:
                return None
            stage.held = why
            return Decision(key, settings, "hold", why)
        stage.held = ""
        limit = settings.off if stage.engaged else settings.on
        word = "back within" if stage.engaged else "above" if settings.side == "high" else "below"
        return self._change(stage, key, f"{settings.point} {word} {limit}")

    def _held_back(self, stage: _Stage, conditions: Mapping[str, Edges], key: int, running: Running) -> str:
        settings = stage.settings
        if stage.changed is not None:
            least, word = (settings.min_on, "on") if stage.engaged else (settings.min_off, "off")
            if due_key(stage.changed, least, running) > key:
                return f"must stay {word} for {show_duration(least)}"
        if stage.engaged:
            return ""
        if stage.before is not None:
            if not stage.before.engaged or stage.before.engaged_at is None:
                return f"{stage.before.settings.id} comes first"
            if due_key(stage.before.engaged_at, settings.step_delay, running) > key:
                return f"gives {stage.before.settings.id} {show_duration(settings.step_delay)} first"
        for rule in settings.only_if:
            if truth_at(conditions[rule], key) != TRUE:
                return f"needs {rule}"
        return ""

    @staticmethod
    def _change(stage: _Stage, key: int, why: str) -> Decision:
        stage.engaged = not stage.engaged
        stage.changed = key
        if stage.engaged:
            stage.engaged_at = key
        return Decision(key, stage.settings, "engage" if stage.engaged else "release", why)

    def next_due(self, after: int, running: Running) -> int | None:
        """The earliest time (ms) later than the key `after` at which a waiting ends."""
        due = [key for stage in self.stages for key in self._timers(stage, running) if key > after]
        return min(due) >> 1 if due else None

    def engaged(self) -> dict[str, bool]:
        """stage -> whether it runs."""
        return {stage.settings.id: stage.engaged for stage in self.stages}

    def state(self) -> dict[str, Any]:
        """What must survive a restart."""
        return {
            s.settings.id: [s.beyond.carry, s.within.carry, s.engaged, s.changed, s.engaged_at, s.held]
            for s in self.stages
        }

    def load(self, state: Mapping[str, Any]) -> None:
        """Take up what `state` gave; a stage that it does not know starts anew."""
        for s in self.stages:
            if s.settings.id in state:
                s.beyond.carry, s.within.carry, s.engaged, s.changed, s.engaged_at, s.held = state[s.settings.id]
