"""What do the figures of alarms mean against the standard's, and what could be done about each?

Benchmarks: ANSI/ISA-18.2-2016, Table 5, as restated in several texts; they are for somebody on watch all day. What a
keeper with a job elsewhere can take is less (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from daemon.reports.figures import Figures
from rules.durations import DAY, HOUR, MINUTE, SECOND
from rules.local_time import Zone
from rules.suggested import SOURCE, suggested

ACCEPTABLE, MANAGEABLE = 150, 300
"""New alarms a day."""
SHARE_EACH = 0.05
"""Of all alarms; the standard expects 1 to 5 % of each of the ten most frequent."""
STALE_AT_MOST = 5
FLOOD_SHARE = 0.01
MIX = {"low": 0.80, "medium": 0.15, "high and critical": 0.05}
_MOST_ROWS = 10
CHATTERING, FLEETING = "Chattering", "Fleeting"
SLOW = 15 * MINUTE
"""A critical alarm acknowledged later than this (common practice, no source)."""


class Finding(NamedTuple):
    """One figure. well: whether it is as it should be, None where there is nothing to judge; rows: name and figure."""

    name: str
    value: str
    benchmark: str
    well: bool | None
    rows: list[tuple[str, str]]
    advice: str


def findings(figures: Figures, zone: Zone, signals: Mapping[str, str] | None = None) -> list[Finding]:
    """Every figure, in the order in which a keeper should look at them.

    signals: rule -> quantity of its point, for what is suggested for such signals.
    """
    return [_calmed(make(figures, zone), signals or {}) for make in _ALL]


def _calmed(finding: Finding, signals: Mapping[str, str]) -> Finding:
    """With what is suggested for the signals of the alarms that come and go."""
    if finding.name not in (CHATTERING, FLEETING):
        return finding
    told: dict[str, None] = {}
    for name, _ in finding.rows:
        least = suggested(signals.get(name.partition(" ")[0], ""))
        if least is not None:
            delay = "" if least.delay is None else f", delays of {shown_span(least.delay)}"
            told[f"{least.signal}: deadband {float(least.deadband * 100):g} % of the range{delay}"] = None
    if not told:
        return finding
    return finding._replace(advice=f"{finding.advice} To begin with ({SOURCE}): {'; '.join(told)}.")


def _a_day(figures: Figures, zone: Zone) -> Finding:
    busiest = sorted(figures.by_day.items(), key=lambda item: (-item[1], item[0]))[:3]
    rows = [(f"{day:%a %d %b}", _many(count, "alarm")) for day, count in busiest if count]
    advice = ""
    if figures.a_day > ACCEPTABLE:
        advice = "Begin with the most frequent below: a few rules make most of it."
    return Finding(
        "Alarms a day",
        f"{figures.a_day:.1f}",
        f"at most about {ACCEPTABLE} a day for somebody on watch; {MANAGEABLE} is the most anybody manages",
        figures.a_day <= ACCEPTABLE if figures.new else None,
        rows,
        advice,
    )


def _frequent(figures: Figures, zone: Zone) -> Finding:
    share = sum(part for _, _, part in figures.frequent)
    rows = [(name, f"{count}, {part:.0%}") for name, count, part in figures.frequent]
    # With few alarms in all, shares say nothing: one of three is a third.
    enough = len(figures.new) >= 1 / SHARE_EACH
    often = [name for name, _, part in figures.frequent if part > SHARE_EACH]
    advice = ""
    if enough and often:
        rule = often[0].partition(" ")[0]
        advice = (
            f"Ask of {_listed(often)}: is there something to do each time? If not, a longer on_delay or a wider "
            f'deadband; try it first: tidebed replay SITE store: --set "{rule}.on_delay=10 min"'
        )
    return Finding(
        "Ten most frequent",
        f"{share:.0%} of all" if figures.new else "none",
        f"each at most {SHARE_EACH:.0%} of all",
        not often if enough else None,
        rows,
        advice,
    )


def _chattering(figures: Figures, zone: Zone) -> Finding:
    advice = (
        "A limit too close to where the value lives: widen the deadband, or give the return an off_delay."
        if figures.chattering
        else ""
    )
    rows = [(name, "3 or more within a minute") for name in figures.chattering]
    return Finding(CHATTERING, str(len(rows)), "should be none", not rows, rows, advice)


def _fleeting(figures: Figures, zone: Zone) -> Finding:
    rows = [(name, f"{short} of {count} over within a minute") for name, short, count in figures.fleeting]
    advice = "Over before anybody could act: an on_delay longer than they last leaves them out." if rows else ""
    return Finding(FLEETING, str(len(rows)), "should be none", not rows, rows, advice)


def _stale(figures: Figures, zone: Zone) -> Finding:
    rows = [(name, shown_span(length)) for name, length in figures.stale]
    advice = (
        "What stands for days is no longer seen. Mend its cause; or shelve it with a reason and an end; or, where "
        "there is nothing to do, make its priority low or log."
        if rows
        else ""
    )
    return Finding(
        "Standing for more than a day",
        str(len(rows)),
        f"fewer than {STALE_AT_MOST}",
        len(rows) < STALE_AT_MOST,
        rows,
        advice,
    )


def _floods(figures: Figures, zone: Zone) -> Finding:
    rows = []
    for first, end in figures.floods:
        within = [one for one in figures.new if first <= one.raised < end]
        begun = f", begun by {within[0].alarm}" if within else ""
        rows.append(
            (
                f"{zone.moment(first):%a %d %b %H:%M}",
                f"{_many(len(within), 'alarm')} in {shown_span(end - first)}{begun}",
            )
        )
    advice = (
        "See which alarm came first each time: let its rule say what it explains (explains = [...]), so that one "
        "message is sent in place of many."
        if rows
        else ""
    )
    return Finding(
        "Floods",
        f"{len(rows)}, {figures.rates.share_flooded:.2%} of the time",
        f"more than 10 new alarms in 10 min; under {FLOOD_SHARE:.0%} of the time",
        figures.rates.share_flooded < FLOOD_SHARE,
        rows,
        advice,
    )


def _mix(figures: Figures, zone: Zone) -> Finding:
    pressing = figures.mix.get("high", 0.0) + figures.mix.get("critical", 0.0)
    shares = {
        "low": figures.mix.get("low", 0.0),
        "medium": figures.mix.get("medium", 0.0),
        "high and critical": pressing,
    }
    rows = [(name, f"{share:.0%} (about {MIX[name]:.0%})") for name, share in shares.items()] if figures.new else []
    enough = len(figures.new) >= 1 / SHARE_EACH
    well = pressing <= 4 * MIX["high and critical"] if enough else None
    advice = (
        "When most is pressing, nothing is. Keep critical for harm within hours, high for harm within a day."
        if well is False
        else ""
    )
    return Finding(
        "Priorities",
        f"{pressing:.0%} high or critical" if figures.new else "none",
        "about 80 / 15 / 5 %",
        well,
        rows,
        advice,
    )


def _answered(figures: Figures, zone: Zone) -> Finding:
    rows = []
    for answer in figures.answers:
        if answer.typical is None or answer.longest is None:
            told = f"none of {answer.activations} acknowledged"
        else:
            told = (
                f"{answer.seen} of {answer.activations} acknowledged; half within {shown_span(answer.typical)}, "
                f"longest {shown_span(answer.longest)}"
            )
        rows.append((answer.priority, told))
    critical = next((answer for answer in figures.answers if answer.priority == "critical"), None)
    slow = critical is not None and (critical.seen < critical.activations or (critical.longest or 0) > SLOW)
    typical = critical.typical if critical is not None else None
    return Finding(
        "Time to acknowledge",
        "no critical alarm" if critical is None else "never" if typical is None else shown_span(typical),
        f"critical ones within {shown_span(SLOW)}",
        None if critical is None else not slow,
        rows,
        'Let a second person be called: [[person]] after = "10 min". Or a louder way for critical ones.'
        if slow
        else "",
    )


def _ignored(figures: Figures, zone: Zone) -> Finding:
    rows = [(name, _many(count, "time")) for name, count in figures.ignored[:_MOST_ROWS]]
    if len(figures.ignored) > _MOST_ROWS:
        rows.append((f"and {len(figures.ignored) - _MOST_ROWS} more", ""))
    advice = (
        "An alarm asks somebody to do something. Where nobody ever does, make it low or log, or take it out."
        if rows
        else ""
    )
    return Finding(
        "Never acted on", str(len(figures.ignored)), "should be none", not rows if figures.new else None, rows, advice
    )


_ALL: tuple[Callable[[Figures, Zone], Finding], ...] = (
    _a_day,
    _answered,
    _floods,
    _frequent,
    _chattering,
    _fleeting,
    _stale,
    _ignored,
    _mix,
)


def shown_span(ms: int) -> str:
    """A length of time in one unit, or two where the first is small."""
    for size, unit in ((DAY, "d"), (HOUR, "h"), (MINUTE, "min")):
        if ms >= 2 * size or (ms >= size and unit == "min"):
            return f"{round(ms / size)} {unit}"
    return f"{round(ms / SECOND)} s"


def _many(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _listed(names: list[str]) -> str:
    shown = ", ".join(names[:3])
    return shown if len(names) <= 3 else f"{shown} and {len(names) - 3} more"
