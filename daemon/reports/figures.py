"""How did the alarms of a span do: how many, how often, how long, and who acted on them?"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from statistics import median
from typing import NamedTuple

from rules.alarms import State
from rules.durations import DAY, MINUTE
from rules.events import Event
from rules.local_time import Zone
from rules.metrics import (
    BIN,
    Rates,
    chattering_alarms,
    counts_by_period,
    floods,
    most_frequent,
    priority_mix,
    rates,
    stale_alarms,
)
from rules.standing_orders import DRILL_LASTS

FLEETING = MINUTE
"""An alarm that is over so soon is over before anybody could act (ms; common practice, no source)."""
_STANDS = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)
_WAITS = (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED_UNACKNOWLEDGED)
_BY = "by "
"""So the log says why an alarm changed where a person changed it."""


class Activation(NamedTuple):
    """One activation of one alarm. raised, ended, seen: ms UTC, None where it has not come to that.

    ended: when its condition returned, or it was set aside; acted: whether a person acknowledged or set it aside.
    """

    alarm: str
    priority: str
    raised: int
    ended: int | None = None
    seen: int | None = None
    acted: bool = False


class Answer(NamedTuple):
    """How activations of one priority were acknowledged. typical, longest: ms, None where none was."""

    priority: str
    activations: int
    seen: int
    typical: int | None
    longest: int | None


@dataclass(frozen=True, slots=True)
class Figures:
    """start, end: ms UTC; new: activations within; by_day: local date -> new alarms, days without any included.

    frequent: (alarm, activations, share); fleeting: (alarm, how many were over too soon, of how many); stale: (alarm,
    ms that it stood); floods: (first, end) in ms; ignored: (alarm, activations) of those on which nobody ever acted.
    """

    start: int
    end: int
    new: tuple[Activation, ...]
    by_day: dict[dt.date, int]
    rates: Rates
    frequent: list[tuple[str, int, float]]
    chattering: list[str]
    fleeting: list[tuple[str, int, int]]
    stale: list[tuple[str, int]]
    floods: list[tuple[int, int]]
    mix: dict[str, float]
    answers: list[Answer]
    ignored: list[tuple[str, int]]

    @property
    def a_day(self) -> float:
        """New alarms in 24 hours, on average."""
        return len(self.new) * DAY / (self.end - self.start)


def activations(events: Iterable[Event]) -> list[Activation]:
    """Every activation that the alarm events tell of, in order of time.

    One that is announced again without having returned is the same activation.
    """
    found: list[Activation] = []
    latest: dict[str, int] = {}
    since: dict[str, object] = {}
    for event in events:
        body = event.body
        name = f"{body['rule']} ({body['side']})"
        was, state = State(body["was"]), State(body["state"])
        at = latest.get(name)
        if state is State.UNACKNOWLEDGED and (at is None or since[name] != body["since"]):
            latest[name], since[name] = len(found), body["since"]
            found.append(Activation(name, body["priority"], event.t))
            continue
        if at is None:
            continue
        one = found[at]
        by_person = str(body.get("why") or "").startswith(_BY)
        if by_person and was in _WAITS and one.seen is None and state is not State.SHELVED:
            one = one._replace(seen=event.t)
        if was in _STANDS and state not in _STANDS and one.ended is None:
            one = one._replace(ended=event.t)
        found[at] = one._replace(acted=one.acted or by_person)
    return found


def real(events: Iterable[Event], acts: Iterable[Event], never: Collection[str] = ()) -> list[Event]:
    """The alarm events without those of activations that began while a drill of their rule ran.

    acts: act events up to the last alarm event, in order; never: rules that are never suppressed, which no drill is
    of. What still stands when the drill ends is real from then on, and is raised at that instant.
    """
    drills = _drills(acts)
    found: list[Event] = []
    ends: dict[tuple[str, str, object], int | None] = {}
    """When the drill of an activation ends; None for a real one."""
    left: dict[tuple[str, str, object], Event] = {}
    """The last event of an activation within its drill."""
    for event in events:
        rule = event.body["rule"]
        which = (rule, event.body["side"], event.body["since"])
        if which not in ends:
            of_rule = (drill for drill in drills if not drill.rules or rule in drill.rules)
            now = [drill.over for drill in of_rule if drill.begun <= event.t < drill.until]
            ends[which] = now[0] if now and rule not in never else None
        end = ends[which]
        if end is not None and event.t <= end:
            left[which] = event
        elif end is None or left[which].body["state"] in _STANDS:
            found.append(event)
    for which, event in left.items():
        end = ends[which]
        if end is not None and event.body["state"] in _STANDS:
            why = "still on after a drill"
            found.append(Event(end, "alarm", {**event.body, "state": State.UNACKNOWLEDGED, "why": why}))
    return sorted(found, key=lambda event: event.t)


class _Drill(NamedTuple):
    """begun, until: of one order; over: when the drill ended that it belongs to; rules: () for all."""

    begun: int
    until: int
    over: int
    rules: tuple[str, ...]


def _drills(acts: Iterable[Event]) -> list[_Drill]:
    """An order ends at its `until`, or with the next one, which the drill that runs goes on with."""
    found: list[_Drill] = []
    for act in acts:
        if act.body["kind"] != "drill" or "refused" in act.body:
            continue
        until = int(act.body.get("until") or act.t + DRILL_LASTS)
        rules = tuple(name for name in act.body.get("rules", "").split(",") if name)
        if found and found[-1].until >= act.t:
            last = found[-1].over
            over = max(until, act.t)
            found = [drill._replace(until=min(drill.until, act.t)) for drill in found]
            found = [drill._replace(over=over) if drill.over == last else drill for drill in found]
        found.append(_Drill(act.t, until, until, rules))
    return found


def figures(events: Iterable[Event], start: int, end: int, zone: Zone) -> Figures:
    """The figures of the alarms raised in [start, end), and of those that stood in it.

    events: alarm events up to `end`, earlier ones included, in order.
    """
    every = activations(event for event in events if event.t < end)
    new = tuple(one for one in every if one.raised >= start)
    times = [one.raised for one in new]
    counts = counts_by_period(times, start, end)
    by_alarm: dict[str, list[Activation]] = {}
    for one in new:
        by_alarm.setdefault(one.alarm, []).append(one)
    stood = [(one.alarm, one.raised, one.ended or end) for one in every if (one.ended or end) > start]
    return Figures(
        start=start,
        end=end,
        new=new,
        by_day=_by_day(times, start, end, zone),
        rates=rates(counts),
        frequent=most_frequent(one.alarm for one in new),
        chattering=chattering_alarms({name: [one.raised for one in own] for name, own in by_alarm.items()}),
        fleeting=_fleeting(by_alarm),
        stale=_longest_of_each(stale_alarms(stood)),
        floods=[(start + first * BIN, start + last * BIN) for first, last in floods(counts)],
        mix=priority_mix(one.priority for one in new),
        answers=_answers(new),
        ignored=sorted(
            ((name, len(own)) for name, own in by_alarm.items() if not any(one.acted for one in own)),
            key=lambda item: (-item[1], item[0]),
        ),
    )


def _by_day(times: list[int], start: int, end: int, zone: Zone) -> dict[dt.date, int]:
    counted = Counter(zone.moment(time).date() for time in times)
    day, last = zone.moment(start).date(), zone.moment(end - 1).date()
    days: dict[dt.date, int] = {}
    while day <= last:
        days[day] = counted[day]
        day += dt.timedelta(days=1)
    return days


def _fleeting(by_alarm: dict[str, list[Activation]]) -> list[tuple[str, int, int]]:
    found = []
    for name, own in by_alarm.items():
        short = sum(one.ended is not None and not one.acted and one.ended - one.raised < FLEETING for one in own)
        if short:
            found.append((name, short, len(own)))
    return sorted(found, key=lambda item: (-item[1], item[0]))


def _longest_of_each(stale: list[tuple[str, int]]) -> list[tuple[str, int]]:
    longest: dict[str, int] = {}
    for name, length in stale:
        longest.setdefault(name, length)
    return list(longest.items())


def _answers(new: Iterable[Activation]) -> list[Answer]:
    by_priority: dict[str, list[Activation]] = {}
    for one in new:
        by_priority.setdefault(one.priority, []).append(one)
    found = []
    for priority in ("critical", "high", "medium", "low"):
        own = by_priority.get(priority, [])
        waits = sorted(one.seen - one.raised for one in own if one.seen is not None)
        if own:
            typical = round(median(waits)) if waits else None
            found.append(Answer(priority, len(own), len(waits), typical, waits[-1] if waits else None))
    return found
