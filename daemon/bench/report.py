"""How is a replay told to a keeper, in 80 columns: alarms, decisions, messages, and what other settings change?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.text import Text

from daemon.bench.account import account, counted, out_of_service
from daemon.bench.source import Recorded
from daemon.bench.tables import print_table
from demo_replay.comparing import Difference, Pair
from demo_replay.episodes import Episode, called, episodes, peak
from demo_replay.moments import Moments, show_span
from demo_replay.replay import Replayed, WithDerived
from demo_replay.watching import Watching
from rules.alarms import State
from rules.block import Source
from rules.door import door
from rules.events import Event
from rules.plan import Plan
from rules.showing import show

MARKS = {"critical": "◆", "high": "▲", "medium": "●", "low": "○"}
STYLES = {"critical": "bold red", "high": "red", "medium": "yellow", "low": ""}
_EXPLAINED = "explained by "
_MOST_ROWS = 60
_ACTIONS = {"engage": "on", "release": "off", "hold": "held back"}
_PURPOSES = {"first": "", "next": " (next in turn)", "recovery": ""}


def print_report(console: Console, recorded: Recorded, replayed: Replayed, changes: Sequence[str] = ()) -> None:
    """What was read, what is out of service, and what happened; `changes`: the settings that differ from the file."""
    moments = Moments(replayed.plan.timezone, replayed.shown)
    _print_head(console, recorded, replayed, moments)
    for change in changes:
        console.print(Text(f"With {change}", style="bold"))
    source = WithDerived(recorded.source, replayed.derived, replayed.doubted)
    _print_alarms(console, source, replayed, moments)
    _print_decisions(console, replayed, moments)
    _print_messages(console, replayed, moments)


def _print_head(console: Console, recorded: Recorded, replayed: Replayed, moments: Moments) -> None:
    """What was read and what is out of service for want of readings."""
    plan = replayed.plan
    console.print(Text(plan.name, style="bold"))
    begin, end = replayed.shown
    console.print(f"{moments.long(begin)} to {moments.long(end)}, {plan.timezone}")
    points = sum(point.id not in replayed.service.missing for point in plan.points)
    console.print(f"{', '.join(recorded.files)}: {replayed.readings:,} readings of {counted(points, 'point')}")
    for line in (*account(recorded), *out_of_service(replayed.service)):
        console.print(line, soft_wrap=False)
    console.print()


def _print_alarms(console: Console, source: Source, replayed: Replayed, moments: Moments) -> None:
    found = shown_episodes(replayed)
    if not found:
        console.print("No alarm.")
        console.print()
        return
    console.print(Text(f"Alarms: {_by_priority(found)}", style="bold"))
    end, watching = replayed.shown[1], Watching(replayed.plan)
    rows = [
        (
            moments.pair(one.onset, one.raised),
            _named(one),
            show_span(one.lasted(end)) + ("" if one.ended is not None else "\nso far"),
            farthest(source, replayed.plan, watching, one, end),
            _outcome(one, moments),
        )
        for one in found[:_MOST_ROWS]
    ]
    titles = ("since, raised", "alarm", "lasted", "farthest", "at the end")
    print_table(console, titles, rows, names="alarm", right="farthest")
    _say_more(console, len(found))


def _print_decisions(console: Console, replayed: Replayed, moments: Moments) -> None:
    decisions = [event for event in replayed.events if event.type == "decision"]
    if not decisions:
        return
    console.print(Text(f"Decisions about the air: {len(decisions)}, advised only", style="bold"))
    rows = [
        (
            moments.minute(event.t),
            event.body["stage"],
            _ACTIONS.get(event.body["action"], event.body["action"]),
            event.body["why"],
        )
        for event in decisions[:_MOST_ROWS]
    ]
    print_table(console, ("at", "stage", "", "why"), rows, names="stage")
    _say_more(console, len(decisions))


def _print_messages(console: Console, replayed: Replayed, moments: Moments) -> None:
    notices = [event for event in replayed.events if event.type == "notice"]
    if not notices:
        told = "nobody is named in the site file" if not replayed.plan.persons else "none"
        console.print(f"Messages that would have been sent: {told}.")
        return
    names = {person.id: person.name or person.id for person in replayed.plan.persons}
    console.print(Text(f"Messages that would have been sent: {len(notices)}", style="bold"))
    sendings = _sendings(notices)
    rows = [
        (
            moments.minute(one.first) if one.count == 1 else moments.pair(one.first, one.last),
            names.get(one.person, one.person) + one.words,
            one.title,
        )
        for one in sendings[:_MOST_ROWS]
    ]
    print_table(console, ("at", "to", "title"), rows, names="to")
    _say_more(console, len(sendings))


@dataclass(slots=True)
class _Sending:
    """A message, or a row of repeats with nothing else to that person about that alarm between them. Times in ms UTC.

    title: of the last of them, since titles may hold the value.
    """

    person: str
    title: str
    purpose: str
    first: int
    last: int
    count: int = 1

    @property
    def words(self) -> str:
        """What kind of message it is, after the person's name."""
        if self.purpose == "repeat" and self.count > 1:
            return f" ({self.count} repeats)"
        return _PURPOSES.get(self.purpose, f" ({self.purpose})")


def _sendings(notices: Sequence[Event]) -> list[_Sending]:
    """Messages in order of time; repeats of one are told once, since a night may have a hundred."""
    found: list[_Sending] = []
    latest: dict[tuple[str, str | None, str | None], _Sending] = {}
    for event in notices:
        body = event.body
        about = (body["person"], body["rule"], body["side"])
        before = latest.get(about)
        if before is not None and before.purpose == body["purpose"] == "repeat":
            before.last, before.title, before.count = event.t, body["title"], before.count + 1
            continue
        latest[about] = _Sending(body["person"], body["title"], body["purpose"], event.t, event.t)
        found.append(latest[about])
    return found


def print_comparison(console: Console, today: Replayed, changed: Replayed, pairs: Sequence[Pair]) -> None:
    """Today's settings and the changed ones, side by side; what is the same is only counted."""
    moments = Moments(today.plan.timezone, today.shown)
    console.print(Text("What the change does", style="bold"))
    different = [pair for pair in pairs if pair.difference is not Difference.SAME or pair.other_end]
    rows = [
        (
            _named(pair.latest),
            _brief(pair.before, moments),
            _brief(pair.after, moments),
            Text(_difference(pair), style="bold"),
        )
        for pair in different[:_MOST_ROWS]
    ]
    if rows:
        print_table(console, ("alarm", "today's settings", "with --set", ""), rows, names="alarm")
        _say_more(console, len(different))
    counts = Counter(pair.difference for pair in pairs)
    told = ", ".join(f"{counts[kind]} {kind}" for kind in Difference if counts[kind]) or "no alarm either way"
    console.print(f"Alarms: {told}.")
    for kind, word in (("notice", "Messages"), ("decision", "Decisions")):
        before, after = (sum(event.type == kind for event in one.events) for one in (today, changed))
        if before or after:
            console.print(f"{word}: {before} today, {after} with the change.")
    console.print()


def shown_episodes(replayed: Replayed) -> list[Episode]:
    """The alarms that stood at any time in the part that is shown."""
    begin = replayed.shown[0]
    found = episodes([*replayed.warm_up, *replayed.events])
    return [one for one in found if one.ended is None or one.ended >= begin]


def farthest(source: Source, plan: Plan, watching: Watching, one: Episode, end: int) -> str:
    """The farthest value of an alarm with a direction, else the value at which it was raised; in the keeper's unit.

    Empty for what has no value: silence and faults.
    """
    point = watching.shown(one.rule)
    if one.side in ("silent", "blind", "fault") or one.value is None:
        return ""
    found = peak(point, source, one, end)
    counts = door(point.units, point.units, point.resolution).count(one.value)[0] if found is None else found.counts
    return show(plan, point, counts)


def _difference(pair: Pair) -> str:
    kind = pair.difference
    if kind in (Difference.EARLIER, Difference.LATER):
        return f"{show_span(abs(pair.shift))}\n{kind}"
    return "other end" if kind is Difference.SAME else str(kind)


def _brief(one: Episode | None, moments: Moments) -> str:
    if one is None:
        return "none"
    lasted = "still on" if one.ended is None else f"for {show_span(one.ended - one.raised)}"
    return f"{moments.minute(one.raised)}\n{lasted}"


def _outcome(one: Episode, moments: Moments) -> Text:
    explained = ""
    if one.why.startswith(_EXPLAINED):
        # The one that has stood longest comes first.
        first, *more = one.why.removeprefix(_EXPLAINED).split(", ")
        explained = f"{_EXPLAINED}{first}" + (f" and {len(more)} more" if more else "")
    if one.ended is not None:
        told = Text(explained or "over")
    elif one.state == State.UNACKNOWLEDGED:
        told = Text("still on", style="bold")
    else:
        told = Text(f"still on, {one.state}", style="bold")
    if explained and one.told is not None:
        told.append(f", told {moments.minute(one.told).strip()}")
    return told


def _named(one: Episode) -> Text:
    """Mark and word of the priority, and below them the rule."""
    mark = Text(f"{MARKS.get(one.priority, '?')} {one.priority}", style=STYLES.get(one.priority, ""))
    return Text.assemble(mark, f"\n{called(one.rule, one.side)}")


def _by_priority(found: Sequence[Episode]) -> str:
    counts = Counter(one.priority for one in found)
    told = ", ".join(f"{counts[name]} {name}" for name in MARKS if counts[name])
    explained = sum(one.told is None for one in found)
    return f"{len(found)} ({told})" + (f", {explained} of them explained by others" if explained else "")


def _say_more(console: Console, count: int) -> None:
    if count > _MOST_ROWS:
        console.print(f"and {count - _MOST_ROWS:,} more; --json prints every one")
    console.print()
