"""Who is owed a message of which alarm, and from when on? First, next, repeat, recovery; gathered, quiet, summed up."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, NamedTuple

from rules.alarms import Alarm, State
from rules.annunciation import Chattering, Flood
from rules.cases import Case, Heard
from rules.causes import Causes
from rules.delays import due_key
from rules.messages import Told, Writer
from rules.people import PersonSettings
from rules.plan import Plan
from rules.running import Running
from rules.settings import Priority, RuleSettings
from rules.standing_orders import StandingOrders
from rules.time_of_day import QuietHours
from rules.turns import Turns

SINGLE = ("first", "next", "repeat")
_RANKS = list(Priority)


class Telling(NamedTuple):
    """One message to one person.

    purpose: first, next, repeat, recovery, drill, summary or chattering; of a summary `alarm` is its probable cause.
    """

    key: int
    person: PersonSettings
    purpose: str
    priority: Priority
    alarm: Alarm | None
    title: str
    text: str


class Router:
    """Keeps a case for each alarm that was raised, and finds who is owed what."""

    def __init__(
        self,
        plan: Plan,
        writer: Writer,
        orders: StandingOrders,
        causes: Causes,
        thin: Callable[[Alarm, int], list[str]],
        shown: Mapping[str, str],
        running: Running,
    ) -> None:
        """thin: points of which nothing is known though an alarm should rest on them; shown: rule -> its point."""
        self.persons, self.settings = plan.persons, plan.messages
        self.rules: Mapping[str, RuleSettings] = {rule.id: rule for rule in plan.rules}
        self.writer, self.orders, self.causes, self.thin = writer, orders, causes, thin
        self.shown, self.running = shown, running
        self.turns = Turns(plan.persons, orders, self.settings)
        self.cases: dict[tuple[str, str], Case] = {}
        self.flood = Flood(self.settings)
        self.chattering = Chattering(self.settings)
        self._flood_begins = False
        self._quiet = {p.id: QuietHours(p.quiet, writer.zone) for p in self.persons if p.quiet is not None}

    # --- what happens to alarms

    def raised(self, alarm: Alarm, key: int, *, anew: bool, reminds: bool) -> None:
        """An alarm has become unacknowledged.

        anew: because its condition became active; reminds: it was set aside by a person until now. One that was
        explained for a while goes on with its case, and is not told a second time.
        """
        side = (alarm.rule, alarm.side)
        rule = self.rules[alarm.rule]
        case = self.cases.get(side)
        chatters = side in self.chattering
        goes_on = case is not None and ((case.over is None and case.since == alarm.since) or chatters)
        drilled = self.orders.drills(rule)
        # What comes while it chatters is not of a drill because the last was, nor real because the last was.
        if case is None or not goes_on or (anew and case.drill != drilled):
            case = self.cases[side] = Case(alarm, alarm.since, key, drilled)
        # Of one that chatters the waiting for the next person goes on.
        case.since, case.raised, case.over = alarm.since, case.raised if chatters else key, None
        case.again = key if reminds and case.heard else None
        if anew and not case.drill:
            if self.chattering.activated(side, key):
                case.note = [person.id for person in self.persons]
            self._flood_begins |= self.flood.hear(key, self.running)

    def over(self, alarm: Alarm, key: int) -> None:
        """An alarm that was told, or explained, has returned."""
        side = (alarm.rule, alarm.side)
        self.chattering.returned(side, key)
        if (case := self.cases.get(side)) is not None:
            case.over = key

    def dropped(self, alarm: Alarm) -> None:
        """An alarm is normal again after a person had set it aside: nobody waits for a word."""
        self.cases.pop((alarm.rule, alarm.side), None)

    # --- who is owed what

    def due(self, key: int) -> list[Telling]:
        """Every message whose time has come, in order; afterwards those persons have heard it."""
        for side in self.chattering.expire(key, self.running):
            self._has_rested(side)
        self.flood.expire(key, self.running)
        if self.orders.expire(key):
            self._drill_is_over()
        found: list[Telling] = []
        if self.cases:
            for person in self.persons:
                found += self._due_to(person, key)
            for side in [side for side, case in self.cases.items() if self._is_done(case, key)]:
                del self.cases[side]
        self._flood_begins = False
        return found

    def _due_to(self, person: PersonSettings, key: int) -> Iterator[Telling]:
        quiet = person.id in self._quiet and self._quiet[person.id].until(key >> 1) is not None
        if self._flood_begins and not quiet and (untold := self._in_flood(person, key)):
            standing = [case for case in self.cases.values() if case.alarm.state is State.UNACKNOWLEDGED]
            yield self._summary(person, untold, standing, key)
        together: list[tuple[Case, str]] = []
        # What is never suppressed speaks for its causes too, so it comes first.
        for case in sorted(self.cases.values(), key=lambda case: not self._never(case)):
            if quiet and not person.passes(case.alarm.priority):
                continue
            if person.id in case.note and (telling := self._chatters(case, person, key)) is not None:
                yield telling
            owed = self._owed(case, person, key)
            if owed is None or owed[0] > key:
                continue
            if owed[1] in SINGLE and case.alarm.priority is not Priority.CRITICAL and not case.drill:
                together.append((case, owed[1]))
            else:
                yield self._single(case, person, owed[1], key)
        if len(together) > self.settings.singly:
            cases = [case for case, _ in together]
            yield self._summary(person, cases, cases, key)
        else:
            for case, purpose in together:
                yield self._single(case, person, purpose, key)

    def _owed(self, case: Case, person: PersonSettings, key: int) -> tuple[int, str] | None:
        """What a person will be owed next of a case if nothing changes, and the key from which on; None: nothing."""
        alarm, heard = case.alarm, case.heard.get(person.id)
        if case.over is not None:
            if heard is None or not heard.singly or not person.recoveries:
                return None
            return self.chattering.rests(case.side, self.running) or case.over, "recovery"
        if alarm.state is not State.UNACKNOWLEDGED and (alarm.state is not State.ACKNOWLEDGED or case.seen or heard):
            return None
        critical = alarm.priority is Priority.CRITICAL
        if self.flood.runs and not critical:
            return None
        muted = 2 * self.orders.muted_until(alarm.rule)
        if heard is not None:
            at = self._repeat(case, heard)
            return None if at is None else (max(at, muted), "repeat")
        wait = self.turns.wait(person, alarm.priority)
        if wait is None:
            return None
        gathered = case.raised if critical else due_key(case.raised, self.settings.gather, self.running)
        if wait == 0:
            return max(gathered, muted), "first"
        begin = self.turns.counted_from(case)
        return None if begin is None else (max(gathered, muted, due_key(begin, wait, self.running)), "next")

    def _repeat(self, case: Case, heard: Heard) -> int | None:
        if case.again is not None and heard.key < case.again:
            return case.again
        every = self.settings.repeat.get(case.alarm.priority, 0)
        most = self.settings.repeat_at_most.get(case.alarm.priority)
        if not every or (most is not None and heard.times > most):
            return None
        return due_key(heard.key, self.turns.shortened(every), self.running)

    # --- saying it

    def _single(self, case: Case, person: PersonSettings, purpose: str, key: int) -> Telling:
        alarm = case.alarm
        known = self._known(case, key)
        told_as = purpose
        if purpose == "recovery":
            title, text = self.writer.over(known, case.over if case.over is not None else key)
            del case.heard[person.id]
        else:
            causes = self._behind(case, key)
            began = min((heard.began for heard in case.heard.values()), default=None)
            unanswered = began if purpose == "next" else None
            thin = self.thin(alarm, key)
            title, text = self.writer.told(known, purpose, self._cause(causes, key), unanswered, thin)
            heard_of = [self.cases[s] for s in self.cases if s[0] in causes and person.id in self.cases[s].heard]
            if heard_of and person.id not in case.heard:
                # It sends its cause again, with the time that is left.
                told_as = "repeat"
            for of_cause in heard_of:
                of_cause.heard[person.id].key = key
            case.hear(person.id, key, singly=True)
        if case.drill:
            title, told_as = self.writer.drill(title), "drill"
        return Telling(key, person, told_as, alarm.priority, alarm, title, text)

    def _behind(self, case: Case, key: int) -> list[str]:
        """What explains an alarm that is told all the same."""
        return self.causes.behind(case.alarm.rule, key) if self._never(case) else []

    def _cause(self, causes: list[str], key: int) -> str:
        """The sentence about what an alarm comes from."""
        if not causes:
            return ""
        first, over = self.causes.first_behind(causes)
        return self.writer.cause(self.rules[first], self.shown[first], over, key)

    def _summary(self, person: PersonSettings, untold: list[Case], listed: list[Case], key: int) -> Telling:
        """One message for several alarms; `untold` are those that it stands for."""
        cause = self.causes.first_of([case.alarm for case in self.cases.values() if case.over is None])
        worst = min((case.alarm.priority for case in untold), key=_RANKS.index)
        for case in untold:
            case.hear(person.id, key, singly=False)
        known = Told(self.rules[cause.rule], cause, self.shown[cause.rule], key, cause.since)
        title, text = self.writer.summary(known, [self._known(case, key) for case in listed])
        return Telling(key, person, "summary", worst, cause, title, text)

    def _known(self, case: Case, key: int) -> Told:
        rule = self.rules[case.alarm.rule]
        return Told(rule, case.alarm, self.shown[rule.id], key, case.since)

    def _in_flood(self, person: PersonSettings, key: int) -> list[Case]:
        """What a person would have been told of singly, had no flood begun."""
        return [
            case
            for case in self.cases.values()
            if case.alarm.state is State.UNACKNOWLEDGED
            and case.alarm.priority is not Priority.CRITICAL
            and person.id not in case.heard
            and self.turns.wait(person, case.alarm.priority) == 0
            and 2 * self.orders.muted_until(case.alarm.rule) <= key
        ]

    def _chatters(self, case: Case, person: PersonSettings, key: int) -> Telling | None:
        """The note on a chattering alarm, once a spell."""
        alarm, rule = case.alarm, self.rules[case.alarm.rule]
        if 2 * self.orders.muted_until(rule.id) > key:
            return None
        case.note.remove(person.id)
        if self.turns.wait(person, alarm.priority) != 0 and person.id not in case.heard:
            return None
        case.hear(person.id, key, singly=alarm.priority is Priority.CRITICAL)
        title, text = self.writer.chattering(self._known(case, key), self._cause(self._behind(case, key), key))
        return Telling(key, person, "chattering", alarm.priority, alarm, title, text)

    def _never(self, case: Case) -> bool:
        return self.rules[case.alarm.rule].never_suppressed

    # --- what ends

    def _has_rested(self, side: tuple[str, str]) -> None:
        """An alarm no longer chatters: where it stands, whoever heard only of its chattering is told of it."""
        case = self.cases.get(side)
        if case is not None and case.over is None:
            case.forget_the_rest()
            case.note.clear()

    def _drill_is_over(self) -> None:
        """What still stands after a drill is real, even where it was acknowledged as part of it."""
        for case in self.cases.values():
            if case.drill and case.alarm.active and case.over is None:
                case.drill, case.seen = False, False
                case.heard.clear()

    def _is_done(self, case: Case, key: int) -> bool:
        if case.over is None or case.side in self.chattering:
            return False
        return all(self._owed(case, person, key) is None for person in self.persons)

    def timers(self, key: int) -> Iterator[int]:
        """Keys later than `key` at which something may become due."""
        for end in self.orders.ends():
            yield 2 * end
        yield from self.chattering.ends(self.running)
        if (end_of_flood := self.flood.ends(self.running)) is not None:
            yield end_of_flood
        for case in self.cases.values():
            for person in self.persons:
                owed = self._owed(case, person, key)
                at = key if person.id in case.note else owed[0] if owed is not None else None
                if at is None:
                    continue
                if at <= key and person.id in self._quiet and not person.passes(case.alarm.priority):
                    end_of_quiet = self._quiet[person.id].until(key >> 1)
                    at = at if end_of_quiet is None else 2 * end_of_quiet
                yield at

    def state(self) -> dict[str, Any]:
        """What must survive a restart."""
        return {
            "cases": [[*case.side, case.saved()] for case in self.cases.values()],
            "flood": self.flood.state(),
            "chattering": self.chattering.state(),
        }

    def load(self, state: dict[str, Any], alarms: Mapping[str, Mapping[str, Alarm]]) -> None:
        """Take up what `state` gave for the alarms that still exist. alarms: rule -> side -> alarm."""
        for rule, side, saved in state["cases"]:
            alarm = alarms.get(rule, {}).get(side)
            if alarm is not None:
                self.cases[rule, side] = Case.restored(alarm, saved)
        self.flood.load(state["flood"])
        self.chattering.load(state["chattering"])
