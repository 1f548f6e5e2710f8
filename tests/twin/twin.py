"""What follows from readings, acts and the passing of time, one instant after the other?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol

from rules.acts import Act, ActKind
from rules.block import Block
from rules.conditions.ahead import AheadSettings
from rules.conditions.band import BandSettings
from rules.conditions.composite import AllOfSettings, AnyOfSettings, AtLeastSettings, NotSettings
from rules.conditions.cycle import CycleSettings
from rules.conditions.flat import FlatSettings
from rules.conditions.overdue import OverdueSettings
from rules.conditions.rate import RateSettings
from rules.conditions.silent import SilentSettings
from rules.conditions.spread import SpreadSettings
from rules.conditions.stopped import StoppedSettings
from rules.events import Event
from rules.plan import Plan
from rules.settings import Priority, RuleSettings
from rules.stages import StageSettings
from tests.twin.ahead import Ahead
from tests.twin.alarm import Change, Side
from tests.twin.apart import Apart
from tests.twin.band import Band
from tests.twin.composite import Composite
from tests.twin.cycle import Cycle
from tests.twin.explaining import Explaining
from tests.twin.flat import Flat
from tests.twin.history import History
from tests.twin.inbox import Inbox
from tests.twin.overdue import Overdue
from tests.twin.qualifiers import Qualifiers
from tests.twin.rate import Rate
from tests.twin.running_time import RunningTime
from tests.twin.silent import Silent
from tests.twin.stage import Stage
from tests.twin.stopped import Stopped
from tests.twin.truth import Look, Truth, any_true


class Kind(Protocol):
    """What every kind of rule can say."""

    sides: tuple[str, ...]
    needs: tuple[str, ...]
    """Rules whose conditions it looks at."""
    shown_point: str | None
    """The point whose value its events show."""

    def look(self, t: int) -> dict[str, Look]:
        """Each side's condition and return condition at instant t."""

    def due(self) -> list[int]:
        """Instants at which what it says may change without a reading."""


class Twin:
    """The naive engine: keeps everything, looks at everything at every instant."""

    def __init__(self, plan: Plan, start: int) -> None:
        self.plan = plan
        self.start = start
        self.frontier = start - 1
        self.inbox = Inbox()
        self.running = RunningTime()
        self.histories = {point.id: History(point, start, self.running) for point in plan.points}
        self.kinds = {rule.id: self._kind(rule) for rule in plan.rules}
        self.sides: dict[str, list[Side]] = {
            rule.id: [Side(rule, side, self.running) for side in self.kinds[rule.id].sides] for rule in plan.rules
        }
        self.qualifiers = {rule.id: Qualifiers(rule, plan.timezone, self.condition) for rule in plan.rules}
        self.explaining = Explaining(plan.rules, self.sides, self.running, self.condition)
        self.stages: list[Stage] = []
        for settings in plan.stages:
            before = _stage_before(settings, self.stages)
            self.stages.append(Stage(settings, before, self.histories, self.condition, self.running))

    def step(self, blocks: Iterable[Block], acts: Iterable[Act], now: int) -> list[Event]:
        """Judge everything up to `now - settle`, in order of time."""
        before = self.frontier
        self.inbox.take(blocks, acts, before)
        self.frontier = max(before, now - self.plan.settle)
        if self.frontier == before:
            return []
        self.inbox.place_late(before + 1, self.histories)
        events: list[Event] = []
        judged = before
        while (t := self._next_instant(judged)) <= self.frontier:
            events += self._judge_instant(t)
            judged = t
        return events

    def condition(self, rule: str) -> Truth:
        """A rule's condition as of now, with its deadband and without its delays; being blind is none of it."""
        return any_true(side.condition for side in self.sides[rule] if side.side != "blind")

    def _kind(self, rule: RuleSettings) -> Kind:
        if isinstance(rule, BandSettings):
            return Band(rule, self.plan, self.histories)
        if isinstance(rule, RateSettings):
            return Rate(rule, self.plan, self.histories)
        if isinstance(rule, SilentSettings):
            return Silent(rule, self.plan, self.histories)
        if isinstance(rule, StoppedSettings):
            return Stopped(rule, self.plan, self.histories, self.running)
        if isinstance(rule, CycleSettings):
            return Cycle(rule, self.histories, self.running)
        if isinstance(rule, FlatSettings):
            return Flat(rule, self.histories)
        if isinstance(rule, SpreadSettings):
            return Apart(rule, self.histories)
        if isinstance(rule, AheadSettings):
            return Ahead(rule, self.histories)
        if isinstance(rule, OverdueSettings):
            return Overdue(rule, self.plan, self.start)
        if isinstance(rule, AllOfSettings | AnyOfSettings | AtLeastSettings | NotSettings):
            return Composite(rule, self.condition)
        raise TypeError(f"the twin does not know the kind of {rule.id}")

    def _next_instant(self, judged: int) -> int:
        """The first instant after `judged` at which something happens or may happen; the engine's first one is such."""
        times: list[int | None] = [self.start, *self.inbox.instants()]
        times += [history.deadline() for history in self.histories.values()]
        times += [due for kind in self.kinds.values() for due in kind.due()]
        times += [due for qualifiers in self.qualifiers.values() for due in qualifiers.due(judged)]
        times += [due for sides in self.sides.values() for side in sides for due in side.due()]
        times += self.explaining.due()
        times += [due for stage in self.stages for due in stage.due()]
        return min((t for t in times if t is not None and t > judged), default=self.frontier + 1)

    def _judge_instant(self, t: int) -> list[Event]:
        """Acts, readings, conditions, what is due, staleness; then what staleness brings about at once."""
        events: list[Event] = []
        for act in self.inbox.acts_at(t):
            events += self._act(act, t)
        for point, reading in self.inbox.readings_at(t):
            self.histories[point].hear(reading, t)
        self._look(t)
        events += self._delays(t)
        for history in self.histories.values():
            deadline = history.deadline()
            if deadline is not None and deadline <= t:
                history.fall_silent()
        self._look(t)
        events += self._delays(t)
        return events

    def _act(self, act: Act, t: int) -> list[Event]:
        if act.kind is ActKind.OFF and act.until is not None:
            self.running.was_off(act.time, act.until)
            return [Event(t, "off", {"until": act.until})]
        events = [Event(t, "act", {"kind": str(act.kind), "who": act.who, "rule": act.rule, "side": act.side})]
        for rule in self.plan.rules:
            kind = self.kinds[rule.id]
            for noted in _noted(act):
                self.qualifiers[rule.id].note(noted, t)
                if isinstance(kind, Overdue):
                    kind.note(noted, t)
            for side in self.sides[rule.id]:
                if act.rule in (None, rule.id) and act.side in (None, side.side):
                    events += self._alarm(side, _done_to(side, act, t), t)
        return events

    def _look(self, t: int) -> None:
        """Every rule, after those on whose conditions it rests."""
        looked: set[str] = set()
        for rule in self.plan.rules:
            self._look_at(rule.id, looked, t)

    def _look_at(self, rule: str, looked: set[str], t: int) -> None:
        if rule in looked:
            return
        looked.add(rule)
        kind, qualifiers = self.kinds[rule], self.qualifiers[rule]
        for other in (*kind.needs, *qualifiers.needs):
            self._look_at(other, looked, t)
        looks = kind.look(t)
        for side in self.sides[rule]:
            side.see(qualifiers.qualify(looks[side.side], t), t)

    def _delays(self, t: int) -> list[Event]:
        """What is due: first what becomes of every rule, then who explains whom, then what people see."""
        begun: set[Side] = set()
        ended: set[Side] = set()
        for rule in self.plan.rules:
            sides = self.sides[rule.id]
            begun |= {side for side in sides if side.begin(t)}
            ended |= {side for side in sides if side.end(t)}
            for side in sides:
                if side.shelved_until is not None and side.shelved_until <= t:
                    side.shelved_until = None
        self.explaining.judge(t)
        events: list[Event] = []
        for rule in self.plan.rules:
            for side in self.sides[rule.id]:
                if side in begun:
                    events += self._alarm(side, side.onset(), t)
            for side in self.sides[rule.id]:
                if side in ended:
                    events += self._alarm(side, side.back(), t)
        for rule in self.plan.rules:
            for side in self.sides[rule.id]:
                events += self._alarm(side, side.speak_or_not(), t)
        for stage in self.stages:
            events += self._decision(stage, stage.judge(t), t)
        return events

    def _alarm(self, side: Side, change: Change, t: int) -> list[Event]:
        if change is None:
            return []
        point = self._shown_point(side.rule.id)
        body = {
            "rule": side.rule.id,
            "side": side.side,
            "was": change[0],
            "state": change[1],
            "priority": str(side.priority),
            "value": None if point is None else self.histories[point].shown(),
        }
        return [Event(t, "alarm", body)]

    def _shown_point(self, rule: str) -> str | None:
        """The rule's own point; of a rule on other rules, that of the first it names."""
        kind = self.kinds[rule]
        return kind.shown_point if kind.shown_point is not None else self._shown_point(kind.needs[0])

    def _points_of(self, rule: str) -> set[str]:
        """The points that a rule names, or that those rules name which it joins."""
        settings = next(one for one in self.plan.rules if one.id == rule)
        own = getattr(settings, "point", None)
        named: set[str] = {own} if isinstance(own, str) else set()
        named |= {*getattr(settings, "points", ())} | {one.point for one in getattr(settings, "evidence", ())}
        return named.union(*(self._points_of(other) for other in self.kinds[rule].needs))

    def _decision(self, stage: Stage, decided: tuple[str, str] | None, t: int) -> list[Event]:
        if decided is None:
            return []
        action, why = decided
        needed = {point for rule in stage.settings.only_if for point in self._points_of(rule)}
        names = (stage.settings.point, *sorted(needed - {stage.settings.point}))
        inputs: Mapping[str, float | None] = {name: self.histories[name].shown() for name in names}
        body = {"stage": stage.settings.id, "action": action, "mode": "advised", "inputs": inputs, "why": why}
        return [Event(t, "decision", body)]


def _noted(act: Act) -> list[str]:
    """What an act is noted as: a note of its kind, a calibration as one and as that of its point."""
    if act.kind is ActKind.CALIBRATE:
        return ["calibration", f"calibration {act.data['point']}"]
    return [act.data["kind"]] if act.kind is ActKind.NOTE and "kind" in act.data else []


def _done_to(side: Side, act: Act, t: int) -> Change:
    """What an act about an alarm makes of one side; a shelving without an end, or already over, is none.

    A rule of priority log has no alarm that an act could be about.
    """
    if side.priority is Priority.LOG:
        return None
    if act.kind is ActKind.ACKNOWLEDGE:
        return side.acknowledge()
    if act.kind is ActKind.RESET:
        return side.reset()
    if act.kind is ActKind.SHELVE and act.until is not None and act.until > t and not side.out_of_service:
        side.shelved_until = act.until
    elif act.kind is ActKind.UNSHELVE:
        side.shelved_until = None
    elif act.kind is ActKind.OUT_OF_SERVICE:
        # What is out of service cannot be shelved, and taking it out ends a shelving.
        side.out_of_service, side.shelved_until = True, None
    elif act.kind is ActKind.IN_SERVICE:
        side.out_of_service = False
    return side.speak_or_not()


def _stage_before(settings: StageSettings, above: list[Stage]) -> Stage | None:
    """The stage that must be engaged first: the one it follows, else the nearest above with the same side."""
    for stage in reversed(above):
        if settings.follows == stage.settings.id:
            return stage
        if settings.follows is None and settings.side == stage.settings.side:
            return stage
    return None
