"""What follows from readings, acts and the passing of time? One pure step: `step(blocks, acts, now) -> events`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any

import numpy as np

from rules.acts import Act, ActKind, noted_kinds
from rules.air import Air, Decision
from rules.block import Block
from rules.derived_points import DerivedPlan
from rules.door import as_float
from rules.events import Event
from rules.judging import RuleJudge, ordered
from rules.life import Life
from rules.local_time import Zone
from rules.messages import Writer
from rules.never_muted import never_muted
from rules.plan import Plan, PointPlan
from rules.quality.all_points import NOTHING_JUDGED, PlanQuality
from rules.running import NEVER, Running
from rules.track import Track
from rules.view import Surroundings, View
from rules.windows import slopes

FORMAT = 2
"""Of the checkpoint; a checkpoint of another format is refused by name."""


class Engine:
    """Judges one plan. Feeding a span as one block, reading by reading, or cut anywhere gives the same events."""

    def __init__(self, plan: Plan, start: int) -> None:
        """`start`: the engine's first instant, ms UTC; what is dated earlier comes behind."""
        self.plan = plan
        self.start = start
        self.now = start - 1
        self.frontier = start - 1
        self.running = Running()
        self.behind: list[tuple[str, int]] = []
        self.repeats = 0
        self.waiting_acts: list[Act] = []
        self.zone = Zone(plan.timezone)
        points: dict[str, PointPlan] = {point.id: point for point in plan.points}
        self.measured = frozenset(points)
        self.derived: list[DerivedPlan] = []
        for settings in plan.derived:
            self.derived.append(DerivedPlan(settings, points))
            points[settings.id] = self.derived[-1].point
        self.points = points
        around = Surroundings(points, self.zone)
        self.judges = [RuleJudge(rule, around) for rule in plan.rules]
        self.in_order = ordered(self.judges)
        looked_at = {rule for judge in self.judges for rule in judge.rests_on()}
        looked_at.update(rule for stage in plan.stages for rule in stage.only_if)
        looked_at.update(rule.suppressed_while for rule in plan.rules if rule.suppressed_while is not None)
        for judge in self.judges:
            judge.is_seen = judge.rule.id in looked_at
        reach = dict.fromkeys(points, 0)
        for judge in self.judges:
            for point, length in judge.reach().items():
                reach[point] = max(reach[point], length)
        for derived in self.derived:
            for point, length in derived.reach.items():
                reach[point] = max(reach[point], length)
        self.quality = PlanQuality(plan.points, self.zone)
        self.judged = NOTHING_JUDGED
        """What the quality tests said in the last step: flags as known when judged, and final flags of earlier ones."""
        self.tracks = {name: Track(point, start, reach[name]) for name, point in points.items()}
        self.air = Air(plan.stages, points)
        self.writer = Writer(plan, points, self.zone, self)
        loud = never_muted(self.in_order, plan.points, self.derived)
        self.looks_at = self._looks_at()
        self.life = Life(plan, self.judges, self.writer, self.running, self._rests_on(), loud, start)

    def step(self, blocks: Iterable[Block], acts: Iterable[Act], now: int) -> list[Event]:
        """Judge everything dated up to `now - settle` and return what follows, in order.

        blocks: readings in counts of their points' resolution, in any order; a point that is not in the plan raises
        KeyError. acts: in the order in which they came. now: ms UTC; it never goes back.
        """
        self.now = max(self.now, now)
        before = self.frontier
        self.frontier = upto = max(before, self.now - self.plan.settle)
        self.behind = []
        for act in acts:
            if act.kind is ActKind.OFF and act.until is not None:
                self.running.add(act.time, act.until)
            self.waiting_acts.append(act)
        parts: dict[str, list[Block]] = {}
        for part in blocks:
            if part.point not in self.measured:
                raise KeyError(part.point)
            parts.setdefault(part.point, []).append(part)
        taken: dict[str, Block] = {}
        for point in self.plan.points:
            taken[point.id], repeats = self.tracks[point.id].take(parts.get(point.id, []), before, upto, self.behind)
            self.repeats += repeats
        self.judged = self.quality.judge({name: part for name, part in taken.items() if len(part)}, before)
        taken |= self.judged.parts
        spans = {name: self.tracks[name].advance(part, before, upto, self.running) for name, part in taken.items()}
        stirred = {name for name, span in spans.items() if not span.idle}
        for derived in self.derived:
            name = derived.point.id
            new = [] if stirred.isdisjoint(derived.inputs) else [derived.readings(spans)]
            part, _ = self.tracks[name].take(new, before, upto, [])
            spans[name] = self.tracks[name].advance(part, before, upto, self.running)
            if not spans[name].idle:
                stirred.add(name)
        if upto == before:
            return []
        key = 2 * upto + 1
        ready = [act for act in self.waiting_acts if act.time <= upto]
        self.waiting_acts = [act for act in self.waiting_acts if act.time > upto]
        # An act that came behind the frontier takes effect at the first instant not yet judged; several of them in the
        # order of their own times.
        timed = [(max(act.time, before + 1), act) for act in sorted(ready, key=lambda act: act.time)]
        notes = [(time, kind) for time, act in timed for kind in noted_kinds(act)]
        view = View(spans, self.running, key, before, notes, stirred=stirred)
        for judge in self.in_order:
            judge.judge(view)
        marked = self.life.advance(timed, key, view.conditions)
        marked += [((2 * event.t, 1, -1), event) for event in self.judged.events]
        for decision in self.air.advance(spans, view.conditions, 2 * before + 1, key, self.running):
            marked.append(((decision.key, 3, 0), self._decided(decision)))
        marked.sort(key=lambda item: item[0])
        return [event for _, event in marked]

    def _rests_on(self) -> dict[str, set[str]]:
        """rule -> every point that it rests on: by itself, by the rules that it joins, and what they are made of."""
        made_of: dict[str, set[str]] = {}
        for derived in self.derived:
            made_of[derived.point.id] = set().union(*({p, *made_of.get(p, ())} for p in derived.reach))
        return {rule: own.union(*(made_of.get(point, set()) for point in own)) for rule, own in self.looks_at.items()}

    def _looks_at(self) -> dict[str, set[str]]:
        """rule -> the points that its condition looks at, by itself or by the rules that it joins."""
        found: dict[str, set[str]] = {}
        for judge in self.in_order:
            own = set(judge.condition.reach())
            found[judge.rule.id] = own.union(*(found[other] for other in judge.condition.rests_on))
        return found

    def _decided(self, decision: Decision) -> Event:
        stage = decision.stage
        needed = set().union(*(self.looks_at[rule] for rule in stage.only_if))
        inputs = {name: self._number(name, decision.key) for name in (stage.point, *sorted(needed - {stage.point}))}
        body = {
            "stage": stage.id,
            "does": stage.action.value,
            "action": decision.action,
            "mode": "advised",
            "inputs": inputs,
            "unit": self.points[stage.point].unit,
            "why": decision.why,
        }
        return Event(decision.key >> 1, "decision", body)

    def _number(self, point: str, key: int) -> float | None:
        counts = self.value_at(point, key)
        return None if counts is None else as_float(counts, self.points[point].resolution)

    def value_at(self, point: str, key: int) -> int | None:
        """Counts that `point` held at an instant of the present step."""
        return self.tracks[point].value_at(key)

    def slope_at(self, point: str, key: int, window: int) -> Fraction | None:
        """Slope in counts per ms over the window that ends at an instant; None with fewer than three readings."""
        span = self.tracks[point].span
        if span is None:
            return None
        # Only the unbroken run that the instant lies in counts, however the step was cut.
        times, values = span.joined
        tail = len(span.tail_t)
        end = tail + int(np.searchsorted(span.t, key >> 1, side="right"))
        begin = int(np.searchsorted(times[:end], (key >> 1) - window, side="left"))
        newest = end - tail - 1
        begin = max(begin, int(span.runs(slice(newest, newest + 1))[0][0])) if newest >= 0 else begin
        if end - begin < 3:
            return None
        found = slopes(times[:end], values[:end], np.array([begin]), end - 1)
        return Fraction(int(found.above[0]), int(found.below[0])) if int(found.below[0]) else None

    def newest(self) -> dict[str, tuple[int, int, int]]:
        """point -> (time, counts, flag) of the newest reading that is no newer than `now`: judged, or as it came."""
        found = {name: track.newest(self.now) for name, track in self.tracks.items()}
        return {name: reading for name, reading in found.items() if reading is not None}

    def alarms(self) -> list[dict[str, Any]]:
        """Every alarm that is not normal."""
        return self.life.standing()

    def next_instant(self) -> int | None:
        """The earliest time (ms UTC) at which something may change without a new reading; None: never."""
        after = 2 * self.frontier + 1
        due = [track.due for track in self.tracks.values()]
        due += [judge.due for judge in self.judges]
        due += [at for at in (self.life.next_due(), self.air.next_due(after, self.running)) if at is not None]
        due += [act.time for act in self.waiting_acts]
        due += [int(track.waiting.times[0]) for track in self.tracks.values() if len(track.waiting)]
        first = min(due)
        return max(first, self.frontier + 1) if first < NEVER else None

    def state(self) -> dict[str, Any]:
        """The checkpoint, as JSON."""
        return {
            "format": FORMAT,
            "start": self.start,
            "now": self.now,
            "frontier": self.frontier,
            "off": self.running.spans,
            "repeats": self.repeats,
            "acts": [act.saved() for act in self.waiting_acts],
            "quality": self.quality.state(),
            "points": {name: track.state() for name, track in self.tracks.items()},
            "rules": {judge.rule.id: judge.state() for judge in self.judges},
            "life": self.life.state(),
            "air": self.air.state(),
        }

    @classmethod
    def restore(cls, plan: Plan, state: Mapping[str, Any]) -> Engine:
        """The engine as it was when `state` was taken.

        A rule, point or stage of the plan that the checkpoint does not know (or knows as another kind, or on other
        points) starts anew. Raises ValueError for a checkpoint of another format.
        """
        if state.get("format") != FORMAT:
            raise ValueError(f"checkpoint format {state.get('format')} is not {FORMAT}; start with an empty store")
        engine = cls(plan, state["start"])
        engine.now, engine.frontier = state["now"], state["frontier"]
        engine.running.spans = [(a, b) for a, b in state["off"]]
        engine.repeats = state["repeats"]
        engine.waiting_acts = [Act.restored(saved) for saved in state["acts"]]
        engine.quality.load(state.get("quality", {}))
        for name, track in engine.tracks.items():
            if name in state["points"]:
                track.load(state["points"][name])
            else:
                track.start = engine.frontier + 1
        for judge in engine.judges:
            if judge.rule.id in state["rules"]:
                judge.load(state["rules"][judge.rule.id])
        engine.life.load(state["life"], engine.frontier)
        engine.air.load(state["air"])
        return engine
