"""How did the alarms do over a span: how many, which, how long until somebody acted, and what could be better?"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from daemon.arguments import json_argument, site_argument
from daemon.clock import SystemClock
from daemon.moments import moment_argument
from daemon.reports.figures import Figures, figures
from daemon.reports.findings import Finding, findings
from daemon.site.load import Site, load_site
from daemon.store import StoreReader
from rules.durations import DAY
from rules.errors import SettingError
from rules.events import show_time
from rules.local_time import Zone

EXAMPLE = "tidebed report alarms site.toml --from 2026-04-01 --to 2026-05-01 --out april.html"

SPAN = 30 * DAY


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """WHAT, SITE, --from, --to, --out, --json."""
    parser.add_argument("what", choices=["alarms"], help="alarms: the standard's figures, with a suggestion for each")
    site_argument(parser)
    parser.add_argument("--from", dest="begin", metavar="T", help="from this time on; left out, 30 days before --to")
    parser.add_argument("--to", dest="end", metavar="T", help="up to this time; left out, now")
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
    with StoreReader(site.store_path, site.plan.points) as store:
        told = figures(store.events(None, end, type="alarm"), start, end, zone)
    found = findings(told, zone)
    if out is not None:
        from daemon.reports.page import report_page

        out.write_text(report_page(site.plan.name, told, found, zone), encoding="utf-8")
    if arguments.json:
        for one in found:
            print(json.dumps({"from": show_time(start), "to": show_time(end), **one._asdict()}, ensure_ascii=False))
    elif out is not None:
        print(f"Report: {out}")
    else:
        _print(site, told, found, zone)
    return 0


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
