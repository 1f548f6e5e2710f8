"""How did a day go? One strip a point, and above them what was alarmed, decided and marked."""

from __future__ import annotations

from collections.abc import Collection, Container, Sequence
from pathlib import Path

from demo_replay.episodes import Episode, called, episodes
from demo_replay.labels import Label
from demo_replay.moments import Moments, show_span
from demo_replay.pictures.hours import heading, ticks
from demo_replay.pictures.ink import HEADING, LOOKS, PLAIN, SMALL, TEXT
from demo_replay.pictures.key import key
from demo_replay.pictures.lanes import alarm_lane, hour_names, label_lane, stage_lane
from demo_replay.pictures.sheet import Sheet
from demo_replay.pictures.strips import strip
from demo_replay.watching import Watching
from rules.block import Source
from rules.events import Event
from rules.plan import Plan, PointPlan
from rules.showing import fitted

_NAMED = 4
"""Below every so many of the low strips the hours are named."""
_LINE = 76
"""Letters of small text that fit on a line."""


def picture_of_day(
    plan: Plan,
    source: Source,
    events: Sequence[Event],
    labels: Sequence[Label],
    path: Path,
    span: tuple[int, int] | None = None,
    chosen: Collection[str] = (),
) -> None:
    """Draw a span of about a day, 1080 pixels wide, to the PNG `path`.

    events: what the engine said, from before the span too where an alarm or stage that stands was begun there; labels:
    what people marked; span: first and last moment drawn, ms UTC (left out: all of the source); chosen: the points to
    draw (left out: those that alarms and decisions rest on, and where there were none those that a rule or stage looks
    at). Points that are not drawn are named. Raises ValueError for an empty source, OSError.
    """
    shown = span or source.span()
    if shown is None:
        raise ValueError("there is no reading to draw")
    sheet = Sheet(shown)
    hours = ticks(shown, plan.timezone)
    found = [one for one in episodes(events) if one.onset <= shown[1] and (one.ended is None or one.ended >= shown[0])]
    sheet.text(fitted(plan.name or "Recording", 42), HEADING, bold=True)
    sheet.text(heading(shown, plan.timezone), TEXT)
    sheet.text(alarms_in_words(found), TEXT, colour=PLAIN)
    _lanes(sheet, plan, found, events, labels, hours)
    watching = Watching(plan)
    decided = {event.body["stage"] for event in events if event.type == "decision" and event.t <= shown[1]}
    drawn, left = _points(plan, watching, source, found, decided, chosen)
    tall = {name for one in found for name in watching.all_points(one.rule)} or {point.id for point in drawn}
    for index, point in enumerate(drawn, start=1):
        sheet.gap(10)
        own = [one for one in found if watching.shown(one.rule) == point]
        strip(sheet, plan, source, point, own, hours, tall=point.id in tall)
        if point.id in tall or index % _NAMED == 0 or index == len(drawn):
            hour_names(sheet, hours)
    sheet.gap(20)
    key(sheet)
    for line in _wrapped(f"Not drawn{'' if chosen else ', as nothing came of it'}: " + ", ".join(left)) if left else ():
        sheet.text(line, SMALL, colour=PLAIN)
    sheet.save(path)


def alarms_in_words(found: Sequence[Episode]) -> str:
    """`11 alarms: 2 critical, 9 low`."""
    if not found:
        return "No alarm"
    counts = {name: sum(one.priority == name for one in found) for name in LOOKS}
    told = ", ".join(f"{count} {name}" for name, count in counts.items() if count)
    return f"{len(found)} {'alarm' if len(found) == 1 else 'alarms'}: {told}"


def _lanes(
    sheet: Sheet,
    plan: Plan,
    found: Sequence[Episode],
    events: Sequence[Event],
    labels: Sequence[Label],
    hours: Sequence[tuple[int, str]],
) -> None:
    begin, end = sheet.span
    marked = [label for label in labels if label.start_ms <= end and label.end_ms >= begin]
    decisions = [event for event in events if event.type == "decision" and event.t <= end]
    stages = [stage.id for stage in plan.stages if any(event.body["stage"] == stage.id for event in decisions)]
    if marked:
        _section(sheet, "Marked by hand")
    for label in marked:
        label_lane(sheet, label, hours)
    groups: dict[tuple[str, str], list[Episode]] = {}
    for one in sorted(found, key=_by_weight):
        groups.setdefault((one.rule, one.side), []).append(one)
    told = {name: own for name, own in groups.items() if any(one.told is not None for one in own)}
    explained = {name: own for name, own in groups.items() if name not in told}
    for title, part in (("Alarms", told), ("Explained by another alarm", explained)):
        if part:
            _section(sheet, title)
        for (rule, side), own in part.items():
            alarm_lane(sheet, fitted(called(rule, side), 36), _when(plan, own, sheet.span), own, hours)
    if stages:
        _section(sheet, "Air, as advised")
    for stage in stages:
        stage_lane(sheet, stage, [event for event in decisions if event.body["stage"] == stage], hours)
    if marked or found or stages:
        hour_names(sheet, hours)


def _section(sheet: Sheet, title: str) -> None:
    sheet.gap(18)
    sheet.text(title, TEXT, colour=PLAIN)


def _by_weight(one: Episode) -> tuple[int, int]:
    return list(LOOKS).index(one.priority), one.raised


def _when(plan: Plan, own: Sequence[Episode], span: tuple[int, int]) -> str:
    moments = Moments(plan.timezone, span)
    if len(own) == 1:
        (one,) = own
        end = "still on" if one.ended is None else f"to {moments.clock(one.ended)}"
        return f"{moments.clock(one.raised)} {end}"
    total = sum(min(one.ended or span[1], span[1]) - max(one.raised, span[0]) for one in own)
    return f"{len(own)} times, {show_span(total)} in all"


def _points(
    plan: Plan,
    watching: Watching,
    source: Source,
    found: Sequence[Episode],
    decided: Container[str],
    chosen: Collection[str],
) -> tuple[list[PointPlan], list[str]]:
    """(points to draw: those of alarms first, names of the others with readings)."""
    alarmed: set[str] = set().union(*(watching.all_points(one.rule) for one in found))
    wanted = set(chosen) or alarmed | {stage.point for stage in plan.stages if stage.id in decided}
    if not wanted:
        wanted = {stage.point for stage in plan.stages}.union(*(watching.own(rule.id) for rule in plan.rules))
        wanted |= watching.made_of(wanted)
    present = set(source.points())
    with_readings = [point for point in watching.points.values() if point.id in present]
    drawn = [point for point in with_readings if point.id in wanted] or ([] if chosen else with_readings)
    drawn.sort(key=lambda point: point.id not in alarmed)
    return drawn, [point.name or point.id for point in with_readings if point not in drawn]


def _wrapped(text: str) -> list[str]:
    lines: list[str] = [""]
    for word in text.split(" "):
        if lines[-1] and len(lines[-1]) + len(word) >= _LINE:
            lines.append("")
        lines[-1] += (" " if lines[-1] else "") + word
    return lines
