"""How did a season go, on one page; or how did the alarms do against the standard, and what could be better?"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from daemon.arguments import json_argument, site_argument
from daemon.clock import SystemClock
from daemon.moments import moment_argument
from daemon.reports.figures import Figures, figures, real
from daemon.reports.findings import Finding, findings
from daemon.site.load import Site, load_site
from daemon.store import StoreReader
from rules.durations import DAY
from rules.errors import SettingError
from rules.events import show_time
from rules.local_time import Zone

if TYPE_CHECKING:
    from daemon.reports.season import Season
    from daemon.reports.season_lines import Part

EXAMPLE = (
    "tidebed report season site.toml --from 2026-04-01 --to 2026-10-01 --out season.html\n"
    "         tidebed report alarms site.toml --from 2026-04-01 --to 2026-05-01 --out april.html"
)

SPAN = 30 * DAY


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """WHAT, SITE, --from, --to, --labels, --out, --json."""
    parser.add_argument(
        "what",
        choices=["season", "alarms"],
        help="season: what the store can tell of it; alarms: the standard's figures, with a suggestion for each",
    )
    site_argument(parser)
    parser.add_argument("--from", dest="begin", metavar="T", help="from this time on; left out, 30 days before --to")
    parser.add_argument("--to", dest="end", metavar="T", help="up to this time; left out, now")
    parser.add_argument(
        "--labels",
        type=Path,
        metavar="FILE.csv",
        help="season: what was real, by `tidebed label`; then alarms are told as real or not",
    )
    parser.add_argument("--out", type=Path, metavar="FILE.html", help="write a page that loads nothing from anywhere")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: done, whatever the figures say."""
    out: Path | None = arguments.out
    if out is not None and (out.suffix.lower() != ".html" or not out.resolve().parent.is_dir()):
        raise SettingError(f"--out {out}: write a name that ends in .html, in a folder that is there")
    site = load_site(arguments.site)
    zone = Zone(site.plan.timezone)
    end = moment_argument(arguments.end, site.plan.timezone, "--to")
    end = SystemClock().now() if end is None else end
    start = moment_argument(arguments.begin, site.plan.timezone, "--from")
    start = end - SPAN if start is None else start
    if start >= end:
        raise SettingError(f"--from {show_time(start)} does not lie before --to {show_time(end)}")
    if arguments.labels is not None and arguments.what != "season":
        raise SettingError("--labels goes with `tidebed report season`")
    if arguments.what == "alarms":
        start = max(start, min(_watched_since(site), end - DAY))
    told = _season if arguments.what == "season" else _alarms
    page, lines, show = told(site, start, end, zone, arguments)
    if out is not None:
        out.write_text(page(), encoding="utf-8")
    if arguments.json:
        for line in lines:
            print(json.dumps({"from": show_time(start), "to": show_time(end), **line}, ensure_ascii=False))
    elif out is not None:
        print(f"Report: {out}")
    else:
        show()
    return 0


def _watched_since(site: Site) -> int:
    """The first instant that was judged, ms UTC: days before a daemon watched are no days without an alarm. A day at
    least is looked at, so that a first hour does not make a rate of its own."""
    with StoreReader(site.store_path, site.plan.points) as store:
        saved = store.checkpoint()
    return 0 if saved is None else int(saved["start"])


Told = tuple[Callable[[], str], Iterable[dict[str, Any]], Callable[[], None]]
"""The page, the JSON lines, and what prints it."""


def _alarms(site: Site, start: int, end: int, zone: Zone, arguments: argparse.Namespace) -> Told:
    with StoreReader(site.store_path, site.plan.points) as store:
        every = store.events(None, end, type="alarm")
        never = {rule.id for rule in site.plan.rules if rule.never_suppressed}
        events = real(every, store.events(None, end, type="act"), never)
    told = figures(events, start, end, zone)
    drilled = len(figures(every, start, end, zone).new) - len(told.new)
    quantities = {point.id: point.quantity for point in site.plan.points}
    signals = {rule.id: quantities.get(getattr(rule, "point", ""), "") for rule in site.plan.rules}
    found = findings(told, zone, signals)
    if drilled:
        found.append(Finding("Alarms of drills", str(drilled), "not counted in any other figure", None, [], ""))

    def page() -> str:
        from daemon.reports.page import report_page

        return report_page(site.plan.name, told, found, zone)

    return page, [one._asdict() for one in found], lambda: _print(site, told, found, zone)


def _season(site: Site, start: int, end: int, zone: Zone, arguments: argparse.Namespace) -> Told:
    from daemon.reports.season import season
    from daemon.reports.season_lines import season_parts
    from daemon.reports.season_page import season_page
    from demo_replay.label_file import read_labels

    labels = None if arguments.labels is None else read_labels(arguments.labels, site.plan.timezone)
    with StoreReader(site.store_path, site.plan.points) as store:
        told = season(site, store, start, end, labels)
    parts = season_parts(site.plan, told, zone)
    lines = [{"name": one.title, "value": one.value, "rows": one.rows, "note": one.note} for one in parts]
    return lambda: season_page(site.plan, told, zone), lines, lambda: _print_season(site, told, parts, zone)


def _print(site: Site, told: Figures, found: list[Finding], zone: Zone) -> None:
    from rich.console import Console
    from rich.padding import Padding

    console = Console(highlight=False, markup=False, emoji=False)
    first, last = zone.moment(told.start), zone.moment(told.end)
    console.print(f"{site.plan.name}: alarms from {first:%d %b %Y %H:%M} to {last:%d %b %Y %H:%M}", style="bold")
    for one in found:
        mark = {True: "", False: "  <- look at this", None: ""}[one.well]
        console.print(f"\n{one.name}: {one.value}{mark}", style="bold yellow" if one.well is False else "")
        console.print(Padding(one.benchmark, (0, 0, 0, 2)), style="dim")
        for name, figure in one.rows:
            console.print(Padding(f"{name}: {figure}", (0, 0, 0, 2)))
        if one.advice:
            console.print(Padding(one.advice, (0, 0, 0, 2)))


def _print_season(site: Site, told: Season, parts: list[Part], zone: Zone) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False, markup=False, emoji=False)
    first, last = zone.moment(told.start), zone.moment(told.end)
    console.print(f"{site.plan.name}: {first:%d %b %Y %H:%M} to {last:%d %b %Y %H:%M}", style="bold")
    for part in parts:
        console.print(f"\n{part.title}: {part.value}".rstrip(": "), style="bold")
        if part.note:
            console.print(f"  {part.note}", style="dim")
        table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 2))
        for row in part.rows:
            table.add_row(*row)
        if part.rows:
            console.print(table)
