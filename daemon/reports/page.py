"""What does a report of alarms look like, on a phone and on paper? One file that loads nothing from anywhere."""

from __future__ import annotations

from html import escape

from daemon.reports.figures import Figures
from daemon.reports.findings import Finding
from daemon.reports.sheet import sheet
from rules.local_time import Zone

_MARKS = {True: "&#10003; as it should be", False: "&#9650; look at this", None: "too few to judge"}
_WIDTH, _HEIGHT = 400, 120
_FOOT, _TOP = 22, 16


def report_page(place: str, figures: Figures, found: list[Finding], zone: Zone) -> str:
    """The whole HTML file."""
    first, last = zone.moment(figures.start), zone.moment(figures.end)
    wrong = sum(one.well is False for one in found)
    count = len(figures.new)
    sections = [_section(one, _days(figures) if index == 0 else "") for index, one in enumerate(found)]
    summary = f"{count} alarm{'' if count == 1 else 's'}; " + (
        f"{wrong} of {len(found)} figures ask for a look." if wrong else "no figure asks for a look."
    )
    return sheet(
        f"Alarms: {place}",
        f"<h1>Alarms of {escape(place)}</h1>\n"
        f'<p class="soft">{first:%d %b %Y %H:%M} to {last:%d %b %Y %H:%M}, {escape(str(zone.info))}</p>\n'
        f"<p>{summary}</p>\n"
        + "\n".join(sections)
        + '\n<p class="soft">Benchmarks: ANSI/ISA-18.2-2016. They are for somebody on watch all day; a keeper with a '
        "job elsewhere can take less.</p>",
    )


def _section(one: Finding, drawing: str) -> str:
    rows = "".join(f"<tr><td>{escape(name)}</td><td>{escape(told)}</td></tr>" for name, told in one.rows)
    table = f"\n<table>{rows}</table>" if rows else ""
    advice = f'\n<p class="advice">{escape(one.advice)}</p>' if one.advice else ""
    kind = ' class="bad"' if one.well is False else ""
    return (
        f'<section{kind}>\n<div class="head"><h2>{escape(one.name)}</h2>'
        f'<span class="value">{escape(one.value)}</span></div>\n'
        f'<p class="soft">{_MARKS[one.well]} &middot; {escape(one.benchmark)}</p>{drawing}{table}{advice}\n</section>'
    )


def _days(figures: Figures) -> str:
    """A bar a day."""
    days = figures.by_day
    if not days:
        return ""
    most = max(max(days.values()), 1)
    step = _WIDTH / len(days)
    room = _HEIGHT - _FOOT - _TOP
    bars = []
    for index, (day, count) in enumerate(days.items()):
        height = room * count / most
        name = f"{day:%a %d %b}: {count}"
        bars.append(
            f'<rect x="{index * step + step * 0.12:.1f}" y="{_TOP + room - height:.1f}" width="{step * 0.76:.1f}" '
            f'height="{height:.1f}" fill="var(--bar)"><title>{name}</title></rect>'
        )
    ends = list(days)
    base = _TOP + room
    marks = (
        f'<line x1="0" y1="{base}" x2="{_WIDTH}" y2="{base}" stroke="var(--faint)"/>'
        f'<text x="0" y="11">{most} a day</text>'
        f'<text x="0" y="{_HEIGHT - 6}">{ends[0]:%d %b}</text>'
        f'<text x="{_WIDTH}" y="{_HEIGHT - 6}" text-anchor="end">{ends[-1]:%d %b}</text>'
    )
    told = f"New alarms a day, {most} at most"
    return f'\n<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" aria-label="{told}">{"".join(bars)}{marks}</svg>'
