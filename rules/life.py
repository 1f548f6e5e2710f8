"""What happens to alarms in a step? Changes, acts and suppression in order of time become events and messages."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from rules.acts import Act, ActKind
from rules.alarms import Alarm, Move, State
from rules.awake import Awake
from rules.causes import Causes
from rules.daily_messages import DailyMessages
from rules.delays import Change
from rules.door import as_float
from rules.edges import Edges
from rules.events import Event
from rules.judging import RuleJudge
from rules.messages import Told, Writer
from rules.plan import Plan
from rules.routing import Router, Telling
from rules.running import NEVER, Running
from rules.settings import Priority
from rules.standing_orders import LONGEST, StandingOrders

Marked = tuple[tuple[int, int, int], Event]
"""An event with its place: (key, 0 act / 1 alarm / 2 notice / 3 decision, order)."""

_MOVES = {
    ActKind.ACKNOWLEDGE: Move.ACKNOWLEDGE,
    ActKind.RESET: Move.RESET,
    ActKind.SHELVE: Move.SHELVE,
    ActKind.UNSHELVE: Move.RELEASE,
    ActKind.OUT_OF_SERVICE: Move.TAKE_OUT,
    ActKind.IN_SERVICE: Move.RELEASE,
}
_RELEASES = {ActKind.UNSHELVE: State.SHELVED, ActKind.IN_SERVICE: State.OUT_OF_SERVICE}
_ORDERS = (ActKind.MUTE, ActKind.DRILL, ActKind.AWAY)
_SET_ASIDE = (State.SHELVED, State.OUT_OF_SERVICE)
_LOWER = {Priority.CRITICAL: Priority.HIGH, Priority.HIGH: Priority.MEDIUM}
_TOLD = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.SUPPRESSED)
_OVER = (State.RETURNED, State.NORMAL, State.LATCHED_UNACKNOWLEDGED, State.LATCHED_ACKNOWLEDGED)


class Life:
    """All alarms of a plan."""

    def __init__(
        self,
        plan: Plan,
        judges: list[RuleJudge],
        writer: Writer,
        running: Running,
        points: Mapping[str, set[str]],
        never_muted: set[str],
        start: int,
    ) -> None:
        """points: rule -> every point that it rests on; never_muted: rules; start: the first instant, ms UTC."""
        self.plan, self.judges, self.writer, self.running = plan, judges, writer, running
        self.alarms: dict[str, dict[str, Alarm]] = {}
        for judge in judges:
            rule = judge.rule
            if rule.priority is not Priority.LOG:
                self.alarms[rule.id] = {
                    side: Alarm(rule.id, side, self._priority(rule.priority_of(side), side), rule.latch)
                    for side in (*judge.condition.sides, "fault")
                }
        self.by_id = {judge.rule.id: judge for judge in judges}
        self.causes = Causes(plan.rules, self.alarms, running)
        self.awake = Awake(self.alarms, {rule for rule in self.alarms if self.causes.can_quiet(rule)})
        self.orders = StandingOrders({rule.id: rule for rule in plan.rules}, points, never_muted, plan.persons)
        self.shown = {judge.rule.id: judge.point for judge in judges}
        self.router = Router(plan, writer, self.orders, self.causes, self._thin, self.shown, running)
        self.daily = DailyMessages(plan, writer, running, start)
        self.events: list[Marked] = []
        self._judged = 2 * start - 1
        """The key up to which everything is told."""
        self._next = 0
        """The key before which nothing becomes due by itself."""

    @staticmethod
    def _priority(own: Priority, side: str) -> Priority:
        if side == "fault":
            return Priority.HIGH
        return _LOWER.get(own, own) if side == "blind" else own

    def advance(self, acts: list[tuple[int, Act]], upto: int, conditions: Mapping[str, Edges]) -> list[Marked]:
        """The events up to and including the key `upto`, each with its place.

        conditions: rule -> its condition in this step, of those that others look at.
        """
        self.events = []
        changes: dict[int, list[tuple[int, str, Change]]] = {}
        for index, judge in enumerate(self.judges):
            if not judge.changes and not judge.fault_is_new:
                continue
            if judge.rule.id not in self.alarms and not judge.rule.explains:
                continue
            # At one instant a rule's onsets come before its own returns.
            for side, change in sorted(judge.changes, key=lambda found: not found.change.active):
                changes.setdefault(change.key, []).append((index, side, change))
            if judge.fault_is_new:
                changes.setdefault(upto, []).append((index, "fault", Change(upto, True, upto >> 1)))
        acting: dict[int, list[Act]] = {}
        for time, act in acts:
            acting.setdefault(2 * time, []).append(act)
        turns = self.causes.look(conditions)
        if not changes and not acting and not turns and self._next > upto:
            self._judged = upto
            return self.events
        given = sorted({*changes, *acting, *turns, NEVER})
        # An `off` span may have put it off meanwhile; then nothing is due there. After a change of settings something
        # may have been due before, and is due now.
        timer = self._next or max(min(self._timers(self._judged), default=NEVER), self._judged + 1)
        position = 0
        while (key := min(given[position], timer)) <= upto:
            position += key == given[position]
            for act in acting.get(key, ()):
                self._act(act, key)
            self._apply(changes.get(key, []), key)
            self._speak_or_not(key)
            self._tell_what_is_due(key)
            timer = self._next_timer(key)
        self._judged, self._next = upto, timer
        return self.events

    def _next_timer(self, key: int) -> int:
        """The first key later than `key` at which something may become due by itself."""
        return min((timer for timer in self._timers(key) if timer > key), default=NEVER)

    def _timers(self, key: int) -> Iterator[int]:
        """The keys at which something may become due by itself, as things stand at an instant."""
        yield from (2 * end for end in self.awake.ends())
        yield from self.causes.timers()
        yield from self.router.timers(key)
        yield from self.daily.timers()

    def _apply(self, changes: list[tuple[int, str, Change]], key: int) -> None:
        for index, side, change in changes:
            rule = self.judges[index].rule
            alarm = self.alarms.get(rule.id, {}).get(side)
            self.causes.changed(rule, side, key, active=change.active)
            if alarm is not None:
                alarm.active = change.active
                self.awake.note(alarm)
                if change.active:
                    alarm.since = change.since
        for index, side, change in changes:
            rule = self.judges[index].rule
            alarm = self.alarms.get(rule.id, {}).get(side)
            if side == "fault":
                self._put(key, 1, Event(key >> 1, "fault", {"rule": rule.id, "why": self.judges[index].fault}))
            if alarm is None:
                continue
            if self._shelving_ends(alarm, key):
                continue
            if change.active:
                quiet = self.causes.quiet_because(rule.id, key)
                following = alarm.next(Move.ACTIVATE, bool(quiet))
                self._move(alarm, following, key, quiet or self._why(rule.id, side, key), anew=True)
            else:
                self._move(alarm, alarm.next(Move.RETURN), key, "back to normal")

    def _speak_or_not(self, key: int) -> None:
        """In the order of the site file: judge anew what shelving has ended, and suppress or release what stands."""
        self.causes.expire(key)
        for rule, sides in self.awake.by_rule().items():
            # Only what stands or stood can be explained; a rule that nothing can quiet need not be asked.
            stands = any(alarm.active or alarm.state is State.SUPPRESSED for alarm in sides)
            quiet = self.causes.quiet_because(rule, key) if stands and self.causes.can_quiet(rule) else ""
            for alarm in sides:
                if self._shelving_ends(alarm, key):
                    continue
                if quiet and alarm.active and alarm.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED):
                    self._move(alarm, alarm.next(Move.SUPPRESS), key, quiet)
                elif not quiet and alarm.state is State.SUPPRESSED:
                    self._move(alarm, alarm.next(Move.RELEASE), key, "what explained it is over")

    def _shelving_ends(self, alarm: Alarm, key: int) -> bool:
        """Judge an alarm anew if the end of its shelving has come; whether it had."""
        if alarm.shelved_until is None or 2 * alarm.shelved_until > key:
            return False
        alarm.shelved_until = None
        quiet = self.causes.quiet_because(alarm.rule, key)
        self._move(alarm, alarm.next(Move.RELEASE, bool(quiet)), key, "shelving has ended")
        return True

    def _tell_what_is_due(self, key: int) -> None:
        for telling in self.router.due(key):
            self._tell(telling)
        told = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)

        def standing() -> list[Alarm]:
            return [a for sides in self.alarms.values() for a in sides.values() if a.state in told]

        for telling in self.daily.due(key, self.alarms, standing, self._known):
            self._tell(telling)

    def _known(self, alarm: Alarm, key: int) -> Told:
        judge = self.by_id[alarm.rule]
        return Told(judge.rule, alarm, judge.point, key, alarm.since)

    def _act(self, act: Act, key: int) -> None:
        if act.kind is ActKind.OFF:
            self._put(key, 0, Event(key >> 1, "off", {"until": act.until} | ({"why": act.text} if act.text else {})))
            return
        body = act.body()
        event = Event(key >> 1, "act", body)
        self._put(key, 0, event)
        if act.kind in _ORDERS and (refused := self.orders.take(act, key)):
            body["refused"] = refused
        move = _MOVES.get(act.kind)
        if move is None:
            return
        moved = False
        refused = f"there is no alarm {act.rule}" + (f" ({act.side})" if act.side else "")
        for alarm in self._meant(act):
            if act.kind in _RELEASES and alarm.state is not _RELEASES[act.kind]:
                refused = f"{alarm.rule} ({alarm.side}) is {alarm.state.value}, not {_RELEASES[act.kind].value}"
                continue
            # An act comes before what the readings of its instant change.
            quiet = move is Move.RELEASE and bool(self.causes.quiet_because(alarm.rule, key - 1))
            following = alarm.next(move, quiet)
            if act.kind is ActKind.SHELVE and not (
                act.until and key >> 1 < act.until <= (key >> 1) + LONGEST[act.kind]
            ):
                following, refused = None, "shelving needs an end that lies ahead, at most a year away"
            elif following is None:
                refused = alarm.refusal(move)
            elif act.kind is ActKind.ACKNOWLEDGE and not act.has_seen(alarm.since, alarm.raised):
                following, refused = None, f"{alarm.rule} ({alarm.side}) came back since; that is not seen yet"
            if following is not None:
                alarm.shelved_until = act.until if act.kind is ActKind.SHELVE else None
                self._move(alarm, following, key, f"by {act.who}" + (f": {act.text}" if act.text else ""), by_act=True)
                moved = True
        if not moved:
            body["refused"] = refused if act.rule else f"there is nothing to {move.value}"

    def _meant(self, act: Act) -> list[Alarm]:
        found = [a for rule, sides in self.alarms.items() if act.rule in (None, rule) for a in sides.values()]
        # A fault is meant only when there is one: taking a rule out of service does not hide that it fails later.
        found = [alarm for alarm in found if alarm.side != "fault" or alarm.state is not State.NORMAL]
        return [alarm for alarm in found if act.side in (None, alarm.side)]

    def _why(self, rule: str, side: str, key: int) -> str:
        judge = self.by_id[rule]
        return judge.fault if side == "fault" else judge.condition.why(side, key)

    def _move(
        self,
        alarm: Alarm,
        following: State | None,
        key: int,
        why: str,
        *,
        by_act: bool = False,
        anew: bool = False,
    ) -> None:
        if following is None or following is alarm.state:
            return
        judge = self.by_id[alarm.rule]
        was, alarm.state = alarm.state, following
        self.awake.note(alarm)
        point = self.writer.points[judge.point]
        # Acts come before the readings of their instant.
        counts = self.writer.facts.value_at(judge.point, key - 1 if by_act else key)
        body = {
            "rule": alarm.rule,
            "side": alarm.side,
            "was": was.value,
            "state": following.value,
            "priority": alarm.priority.value,
            "value": None if counts is None else as_float(counts, point.resolution),
            "unit": point.unit,
            "why": why,
            "since": alarm.since if alarm.since else None,
        }
        if following is State.NORMAL:
            alarm.since = 0
        self._put(key, 1, Event(key >> 1, "alarm", body))
        if following is State.UNACKNOWLEDGED:
            alarm.raised = key >> 1
            self.router.raised(alarm, key, anew=anew, reminds=was in _SET_ASIDE)
            self.daily.raised(alarm, key)
        elif following in _OVER and not alarm.active:
            if was in _TOLD:
                self.router.over(alarm, key)
            elif was in _SET_ASIDE:
                self.router.dropped(alarm)

    def _thin(self, alarm: Alarm, key: int) -> list[str]:
        """The points of which nothing is known though the alarm should rest on them too."""
        why = self._why(alarm.rule, alarm.side, key) if alarm.side == "stopped" else ""
        missing = why.partition("evidence is reduced: nothing known of ")[2]
        return [point for point in missing.split(", ") if point in self.writer.points]

    def _tell(self, telling: Telling) -> None:
        alarm, person = telling.alarm, telling.person
        about = f"{alarm.rule}/{alarm.side}/" if alarm is not None else ""
        # Of an instant, what follows from staleness comes after what follows from readings.
        at = f"{telling.key >> 1}" + ("+" if telling.key & 1 else "")
        body = {
            "person": person.id,
            "title": telling.title,
            "text": telling.text,
            "rule": None if alarm is None else alarm.rule,
            "side": None if alarm is None else alarm.side,
            "priority": telling.priority.value,
            "purpose": telling.purpose,
            "key": f"{about}{at}/{telling.purpose}/{person.id}",
            "ways": list(person.ways_of(telling.priority)),
        }
        self._put(telling.key, 2, Event(telling.key >> 1, "notice", body))

    def _put(self, key: int, category: int, event: Event) -> None:
        self.events.append(((key, category, len(self.events)), event))

    def standing(self) -> list[dict[str, Any]]:
        """Every alarm that is not normal."""
        return [
            {
                "rule": alarm.rule,
                "side": alarm.side,
                "state": alarm.state.value,
                "priority": alarm.priority.value,
                "since": alarm.since,
                "active": alarm.active,
                "shelved_until": alarm.shelved_until,
                "muted_until": self.orders.muted_until(alarm.rule) or None,
            }
            for sides in self.alarms.values()
            for alarm in sides.values()
            if alarm.state is not State.NORMAL
        ]

    def count_standing(self) -> int:
        """How many alarms are active and not set aside, or unacknowledged."""
        live = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED)
        return sum(alarm.state in live for sides in self.alarms.values() for alarm in sides.values())

    def next_due(self) -> int | None:
        """When the next waiting of the life cycle ends, ms."""
        timer = self._next or self._next_timer(self._judged)
        return None if timer == NEVER else timer >> 1

    def state(self) -> dict[str, Any]:
        """What must survive a restart."""
        return {
            "alarms": [
                [a.rule, a.side, a.saved()]
                for sides in self.alarms.values()
                for a in sides.values()
                if a.state is not State.NORMAL or a.active
            ],
            "causes": self.causes.state(),
            "told": self.router.state(),
            "daily": self.daily.state(),
            "orders": self.orders.state(),
        }

    def load(self, state: dict[str, Any], frontier: int) -> None:
        """Take up what `state` gave for the alarms that still exist. frontier: as of then, ms UTC."""
        self._judged = 2 * frontier + 1
        for rule, side, saved in state["alarms"]:
            alarm = self.alarms.get(rule, {}).get(side)
            if alarm is not None:
                alarm.load(saved)
                self.awake.note(alarm)
        self.causes.load(state["causes"])
        self.router.load(state["told"], self.alarms)
        self.daily.load(state["daily"], frontier)
        self.orders.load(state["orders"])
