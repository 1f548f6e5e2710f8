"""How is a season told: in which parts, under which heads, with which rows?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from daemon.reports.figures import Answer
from daemon.reports.findings import shown_span
from daemon.reports.season import PLAIN, RuleTold, Season
from daemon.reports.season_points import Course, Extreme
from rules.durations import HOUR
from rules.local_time import Zone
from rules.plan import Plan
from rules.showing import show

_DRAWN = ("air_temperature", "water_temperature", "soil_temperature", "dissolved_oxygen", "relative_humidity", "ph",
          "conductivity", "soil_moisture", "ppfd", "irradiance")  # fmt: skip
"""Quantities of which every day's lowest and highest is drawn."""
_MOST_ROWS = 20


class Part(NamedTuple):
    """A head with its value, a remark, rows of two cells or more, and the point that is drawn."""

    title: str
    value: str
    rows: Sequence[tuple[str, ...]]
    note: str = ""
    course: Course | None = None


def season_parts(plan: Plan, season: Season, zone: Zone) -> list[Part]:
    """In the order in which a keeper would tell it; what there is nothing of is left out."""
    return [
        _watch(season),
        *(_course(plan, one, season, zone) for one in season.courses if one.point.quantity in _DRAWN),
        *_others(plan, season, zone),
        *_stages(season),
        *_water(plan, season, zone),
        *_notes(season),
        *_alarms(season),
        *_settings(season, zone),
    ]


def _watch(season: Season) -> Part:
    rows: list[tuple[str, ...]] = [("the daemon did not run", _hours(season.off))]
    if season.unheard:
        rows.append(("no readings at all", f"{len(season.unheard)} points", ", ".join(season.unheard)))
    watched = season.end - season.start - season.off
    return Part("Watched", _hours(watched), rows, f"{season.readings} readings of {len(season.courses)} points")


def _course(plan: Plan, one: Course, season: Season, zone: Zone) -> Part:
    called = one.point.name or one.point.id
    rows = [(word, *_extreme(plan, one, at, zone)) for word, at in (("lowest", one.low), ("highest", one.high)) if at]
    for mark, beyond in zip(one.marks, one.beyond, strict=True):
        # What keepers compare is told only where it came to that; a rule's limit always.
        if beyond or mark.rule:
            side = "over" if mark.side == "high" else "under"
            rows.append((f"{side} {show(plan, one.point, mark.limit)}", _hours(beyond), mark.rule))
    blind = season.end - season.start - season.off - one.heard
    rows.append(("nothing known", _hours(max(0, blind)), ""))
    value = "" if one.low is None or one.high is None else f"{_of(plan, one, one.low)} to {_of(plan, one, one.high)}"
    return Part(called, value, rows, course=one)


def _others(plan: Plan, season: Season, zone: Zone) -> Iterator[Part]:
    rest = [one for one in season.courses if one.point.quantity not in (*_DRAWN, *PLAIN)]
    rows = [
        (one.point.name or one.point.id, f"{_of(plan, one, one.low)} to {_of(plan, one, one.high)}")
        for one in rest
        if one.low is not None and one.high is not None
    ]
    if rows:
        yield Part("Other points", "lowest, highest", rows)


def _stages(season: Season) -> Iterator[Part]:
    if season.stages:
        rows = [
            (one.stage, f"{_hours(one.engaged)}, {_times(one.times)}", f"enough {_times(one.alone)}")
            for one in season.stages
        ]
        yield Part("Stages", _hours(sum(one.engaged for one in season.stages)), rows,
                   "As advised. A stage was enough where no other had to follow while it ran.")  # fmt: skip


def _water(plan: Plan, season: Season, zone: Zone) -> Iterator[Part]:
    days = (season.end - season.start - season.off) / (24 * HOUR)
    called = {point.id: point.name or point.id for point in plan.points}
    rows: list[tuple[str, ...]] = []
    for one in season.cycles:
        if not one.drains:
            continue
        a_day = f", {one.drains / days:.1f} a day" if days >= 1 else ""
        typical = "" if one.typical is None else f"period {shown_span(one.typical)}"
        spread = (
            "" if one.spread is None else f", 8 of 10 within {shown_span(one.spread[0])} to {shown_span(one.spread[1])}"
        )
        rows.append((called[one.point], f"{one.drains} drains{a_day}", typical + spread))
    if rows:
        yield Part("Beds", f"{sum(one.drains for one in season.cycles)} drains", rows)
    stops = sorted(season.stops, key=lambda stop: -stop.lasted)
    told = [
        (f"{zone.moment(stop.at):%d %b %H:%M} {stop.rule}", shown_span(stop.lasted), stop.why)
        for stop in stops[:_MOST_ROWS]
    ]
    if season.stops:
        whole = shown_span(sum(stop.lasted for stop in season.stops))
        yield Part("Water stopped", f"{_times(len(season.stops))}, {whole}", told,
                   _rest(len(stops), "the longest first"))  # fmt: skip


def _notes(season: Season) -> Iterator[Part]:
    if season.notes:
        rows = [
            (one.kind, _times(one.times), ", ".join(f"{amount} {unit}" for unit, amount in one.amounts.items()))
            for one in season.notes
        ]
        yield Part("Noted", f"{sum(one.times for one in season.notes)} entries", rows)


def _alarms(season: Season) -> Iterator[Part]:
    rows = [_rule(one) for one in season.by_rule[:_MOST_ROWS]]
    note = _rest(len(season.by_rule), "the most frequent first")
    yield Part("Alarms", f"{len(season.alarms.new)} in all", rows, note)
    answers = [_answer(one) for one in season.alarms.answers]
    if answers:
        yield Part("Time to acknowledge", "", answers, "typical, and the longest")


def _settings(season: Season, zone: Zone) -> Iterator[Part]:
    rows = [(f"{zone.moment(at):%a %d %b %H:%M}", "", told) for at, told in season.settings]
    if rows:
        yield Part("Limits changed", _times(len(rows)), rows)


def _answer(one: Answer) -> tuple[str, ...]:
    if one.typical is None or one.longest is None:
        return one.priority, "never", f"{one.activations} alarms"
    typical = f"{shown_span(one.typical)}, {shown_span(one.longest)} at most"
    return one.priority, typical, f"{one.seen} of {one.activations} acknowledged"


def _rule(one: RuleTold) -> tuple[str, ...]:
    real = "" if one.real is None else f"; {one.real} real, {one.times - one.real} not marked as real"
    seen = "never acknowledged" if one.typical is None else f"acknowledged after {shown_span(one.typical)}"
    return f"{one.rule} ({one.priority})", _times(one.times), seen + real


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _rest(count: int, order: str) -> str:
    return order if count <= _MOST_ROWS else f"{order}; {count - _MOST_ROWS} more are left out"


def _extreme(plan: Plan, one: Course, extreme: Extreme, zone: Zone) -> tuple[str, str]:
    return _of(plan, one, extreme), f"{zone.moment(extreme.at):%a %d %b %H:%M}"


def _of(plan: Plan, one: Course, extreme: Extreme) -> str:
    return show(plan, one.point, extreme.counts)


def _hours(ms: int) -> str:
    hours = ms / HOUR
    return f"{hours:.0f} h" if hours >= 100 or not ms else f"{hours:.1f} h"
