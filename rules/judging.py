"""What does one rule say over a step? Its condition's edges, its qualifiers, and the delayed changes of its sides."""

from __future__ import annotations

from typing import Any, NamedTuple, cast

from rules.delays import Change, Delayed
from rules.edges import UNKNOWN, Edges, Judged, combine, steady
from rules.errors import SettingError
from rules.gates import gated, gates
from rules.latch import Latch, any_true
from rules.running import NEVER
from rules.settings import RuleSettings
from rules.view import Condition, Surroundings, View


class SideChange(NamedTuple):
    """A delayed change of one side."""

    side: str
    change: Change


class RuleJudge:
    """One rule with its condition and the delays of its sides. A fault ends its judging, not the others'."""

    def __init__(self, rule: RuleSettings, around: Surroundings) -> None:
        self.rule = rule
        build = getattr(rule, "build")  # noqa: B009 - every kind's settings class has it; the base class has not
        self.condition = cast(Condition, build(around))
        self.gates = gates(rule, around.zone)
        sides = self.condition.sides
        self.delays = {side: Delayed(rule.on_delay, rule.off_delay) for side in sides}
        self.latches = {side: Latch() for side in sides if side != "blind"}
        self.changes: list[SideChange] = []
        self.fault = ""
        self.fault_is_new = False
        self.is_seen = False
        """Whether another rule or a stage looks at this rule's condition."""
        self.judged: dict[str, Judged] = {}
        """What it said in the last step in which it was judged."""
        self.begun = False
        """Whether its first step was judged."""
        self.looks_at = frozenset(self.condition.reach()).union(self.rests_on())
        """The points and rules that it looks at."""
        self.due = 0
        """Before this time (ms) it changes by nothing but what it looks at."""
        self.identity = [getattr(rule, "kind", ""), sorted(self.condition.reach()), list(self.rests_on()), list(sides)]
        """What must be unchanged for the state to be taken up: kind, points and sides."""
        self._at_rest = steady(UNKNOWN)
        """What other rules see of it where it does not change."""
        self._saved: dict[str, Any] | None = None
        """What `state` gave, while that is still so."""

    @property
    def point(self) -> str:
        """Whose value the rule's events show."""
        return self.condition.point

    def reach(self) -> dict[str, int]:
        """point -> how far back (ms) its windows look, the runway's included."""
        reach = dict(self.condition.reach())
        if self.rule.runway is not None:
            point = self.rule.runway.point
            reach[point] = max(reach.get(point, 0), self.rule.runway.window)
        return reach

    def judge(self, view: View) -> None:
        """Find this step's edges and changes; leave the condition as other rules see it in the view."""
        self.fault_is_new = False
        if view.upto >> 1 < self.due and not view.notes and self.looks_at.isdisjoint(view.stirred):
            self.changes = []
            if self.is_seen:
                view.conditions[self.rule.id] = self._at_rest
            return
        self._saved = None
        if not self.fault:
            try:
                self.judged = self.condition.edges(view)
                if self.gates:
                    opened = [gate.edges(view) for gate in self.gates]
                    self.judged = {side: gated(judged, opened) for side, judged in self.judged.items()}
            except Exception as error:  # noqa: BLE001 - one broken rule must not silence the others; it becomes an alarm
                self.fault = f"{type(error).__name__}: {error}"
                self.fault_is_new = True
        if self.fault:
            self.judged = {side: Judged(steady(UNKNOWN), steady(UNKNOWN)) for side in self.condition.sides}
        if not self.begun:
            self.begun = True
            for side, delayed in self.delays.items():
                delayed.begin(self.judged[side], 2 * (view.before + 1))
        self.changes = [
            SideChange(side, change)
            for side, delayed in self.delays.items()
            for change in delayed.advance(self.judged[side], view.upto, view.running)
        ]
        if self.is_seen:
            seen = self._seen()
            view.conditions[self.rule.id], self._at_rest = seen, steady(seen.last)
            if len(seen.keys):
                view.stirred.add(self.rule.id)
        for judged in self.judged.values():
            if not isinstance(judged.clear, Edges):
                judged.clear.settle()
        self.due = self._next_due(view)

    def _seen(self) -> Edges:
        """The condition as other rules see it: any of its sides, but for `blind`."""
        found = [latch.edges(self.judged[side]) for side, latch in self.latches.items()]
        return found[0] if len(found) == 1 else combine(found, any_true)

    def rests_on(self) -> tuple[str, ...]:
        """The rules whose conditions must be judged before this one's."""
        named = (self.rule.while_,) if self.rule.while_ is not None else ()
        return (*named, *self.condition.rests_on)

    def _next_due(self, view: View) -> int:
        """When the next delay ends or the next gate opens or shuts, ms; `off` spans can only put it off."""
        due = [delayed.next_due(view.running) for delayed in self.delays.values()]
        if not self.fault:
            due.append(self.condition.next_due(view.running))
            due += [gate.next_due(view.upto >> 1) for gate in self.gates]
        return min((at for at in due if at is not None), default=NEVER)

    def state(self) -> dict[str, Any]:
        """What must survive a restart."""
        if self._saved is None:
            self._saved = {
                "is": self.identity,
                "condition": self.condition.state(),
                "gates": [gate.state() for gate in self.gates],
                "delays": {side: delayed.state() for side, delayed in self.delays.items()},
                "latches": {side: latch.state() for side, latch in self.latches.items()},
                "fault": self.fault,
                "begun": self.begun,
            }
        return self._saved

    def load(self, state: dict[str, Any]) -> None:
        """Take up what `state` gave, if it is of the same kind and points."""
        if state["is"] != self.identity:
            return
        self.condition.load(state["condition"])
        if len(state["gates"]) == len(self.gates):
            for gate, saved in zip(self.gates, state["gates"], strict=True):
                gate.load(saved)
        for side, delayed in self.delays.items():
            delayed.load(state["delays"][side])
        for side, latch in self.latches.items():
            latch.load(state["latches"][side])
        self.fault, self.begun = state["fault"], state["begun"]


def ordered(judges: list[RuleJudge]) -> list[RuleJudge]:
    """The rules in the order in which they can be judged: each after those that it rests on.

    Also tells a rule without a point of its own whose value to show. Raises SettingError for rings and unknown names.
    """
    by_id = {judge.rule.id: judge for judge in judges}
    done: list[RuleJudge] = []
    state: dict[str, int] = {}

    def visit(judge: RuleJudge, path: tuple[str, ...]) -> None:
        name = judge.rule.id
        if state.get(name) == 2:
            return
        if state.get(name) == 1:
            raise SettingError(f"rules rest on each other in a ring: {' -> '.join((*path, name))}")
        state[name] = 1
        for other in judge.rests_on():
            if other not in by_id:
                raise SettingError(f"{name} rests on {other}, which is no rule")
            visit(by_id[other], (*path, name))
        state[name] = 2
        if not judge.condition.point:
            judge.condition.point = by_id[judge.condition.rests_on[0]].condition.point
        done.append(judge)

    for judge in judges:
        visit(judge, ())
    return done
