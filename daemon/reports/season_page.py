"""What does a season look like on one page, on a phone and on paper?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from daemon.reports.season import Season
from daemon.reports.season_lines import Part, season_parts
from daemon.reports.season_points import Course
from daemon.reports.sheet import sheet
from rules.local_time import Zone
from rules.plan import Plan
from rules.showing import show

_WIDTH, _HEIGHT, _TOP, _FOOT = 400, 150, 16, 22


def season_page(plan: Plan, season: Season, zone: Zone) -> str:
    """The whole HTML file."""
    first, last = zone.moment(season.start), zone.moment(season.end)
    sections = "\n".join(_section(part, plan) for part in season_parts(plan, season, zone))
    return sheet(
        f"Season: {plan.name}",
        f"<h1>The season of {escape(plan.name)}</h1>\n"
        f'<p class="soft">{first:%d %b %Y %H:%M} to {last:%d %b %Y %H:%M}, {escape(str(zone.info))}</p>\n'
        f"{sections}\n"
        '<p class="soft">Counted from what was kept. Not kept, so not here: fish and harvest weighed, energy, money, '
        "and what was done without being noted.</p>",
    )


def _section(part: Part, plan: Plan) -> str:
    rows = "".join(_row(row) for row in part.rows)
    table = f"\n<table>{rows}</table>" if rows else ""
    note = f'\n<p class="soft">{escape(part.note)}</p>' if part.note else ""
    drawing = "" if part.course is None else _drawn(plan, part.course)
    return (
        f'<section>\n<div class="head"><h2>{escape(part.title)}</h2>'
        f'<span class="value">{escape(part.value)}</span></div>{note}{drawing}{table}\n</section>'
    )


def _row(row: tuple[str, ...]) -> str:
    """Name and figure side by side; what is said of them below the name."""
    name, figure, *said = row
    below = "".join(f'<br><span class="soft">{escape(text)}</span>' for text in said if text)
    return f'<tr><td>{escape(name)}{below}</td><td class="figure">{escape(figure)}</td></tr>'


def _drawn(plan: Plan, course: Course) -> str:
    """A bar a day from the lowest to the highest, with the limits that lie near as lines."""
    days = course.days
    if len(days) < 2:
        return ""
    low, high = min(low for low, _ in days.values()), max(high for _, high in days.values())
    room = max(high - low, 1)
    near = [mark for mark in course.marks if mark.rule and low - room / 2 <= mark.limit <= high + room / 2]
    bottom = min([float(low), *(float(mark.limit) for mark in near)])
    top = max([float(high), *(float(mark.limit) for mark in near)])
    first, last = min(days), max(days)
    step = _WIDTH / ((last - first).days + 1)
    height = _HEIGHT - _FOOT - _TOP

    def y(counts: float) -> float:
        return _TOP + height * (top - counts) / max(top - bottom, 1)

    bars = [
        f'<rect x="{(day - first).days * step + step * 0.12:.1f}" y="{y(high):.1f}" width="{step * 0.76:.1f}" '
        f'height="{max(y(low) - y(high), 1.5):.1f}" fill="var(--bar)"><title>{day:%a %d %b}: '
        f"{escape(_span(plan, course, low, high))}</title></rect>"
        for day, (low, high) in days.items()
    ]
    lines = [
        f'<line x1="0" y1="{y(float(mark.limit)):.1f}" x2="{_WIDTH}" y2="{y(float(mark.limit)):.1f}" '
        f'stroke="var(--bad)" stroke-dasharray="4 3"/>'
        for mark in near
    ]
    labels = _apart((y(float(mark.limit)), show(plan, course.point, mark.limit)) for mark in near)
    texts = [f'<text x="{_WIDTH}" y="{at - 3:.1f}" text-anchor="end">{escape(text)}</text>' for at, text in labels]
    called = escape(course.point.name or course.point.id)
    return (
        f'\n<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" aria-label="{called}: lowest and highest of each day">'
        f"{''.join(bars)}{''.join(lines)}{''.join(texts)}"
        f'<text x="0" y="{_HEIGHT - 6}">{first:%d %b}</text>'
        f'<text x="{_WIDTH}" y="{_HEIGHT - 6}" text-anchor="end">{last:%d %b}</text></svg>'
    )


def _span(plan: Plan, course: Course, low: int, high: int) -> str:
    return f"{show(plan, course.point, low)} to {show(plan, course.point, high)}"


def _apart(labels: Iterable[tuple[float, str]]) -> Sequence[tuple[float, str]]:
    """Those that do not stand upon one another, from the top."""
    found: list[tuple[float, str]] = []
    for at, text in sorted(labels):
        if not found or at - found[-1][0] >= 12:
            found.append((max(at, _TOP), text))
    return found
