"""What happened: alarms, decisions, notes and acts, with reasons?"""

from __future__ import annotations

import argparse
import json
from typing import Any

from daemon.arguments import json_argument, site_argument
from daemon.moments import moment_argument
from daemon.site.load import load_site
from daemon.store import StoreReader
from rules.errors import SettingError
from rules.events import Event
from rules.local_time import Zone
from rules.plan import Plan
from rules.showing import show_number, show_why

EXAMPLE = "tidebed log site.toml --from 2026-04-03 --rule loop.stopped"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE, --from, --to, --rule, --type, --last, --json."""
    site_argument(parser)
    parser.add_argument(
        "--from", dest="begin", metavar="T", help="from this time on (RFC 3339, or local without offset)"
    )
    parser.add_argument("--to", dest="end", metavar="T", help="up to this time")
    parser.add_argument("--rule", help="only this rule or stage")
    parser.add_argument("--type", choices=["alarm", "decision", "notice", "quality", "act", "off", "fault"])
    parser.add_argument("--last", type=int, default=200, metavar="N", help="the newest N (default 200)")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print the log, oldest first."""
    if arguments.last < 1:
        raise SettingError(f"--last {arguments.last} would show nothing; write 1 or more")
    site = load_site(arguments.site)
    zone = Zone(site.plan.timezone)
    begin = moment_argument(arguments.begin, site.plan.timezone, "--from")
    end = moment_argument(arguments.end, site.plan.timezone, "--to")
    with StoreReader(site.store_path, site.plan.points) as store:
        events = store.events(
            None if begin is None else begin - 1, end, rule=arguments.rule, type=arguments.type, limit=arguments.last
        )
    for event in events:
        if arguments.json:
            print(json.dumps(event.line(), ensure_ascii=False))
        else:
            print(f"{zone.moment(event.t):%Y-%m-%d %H:%M:%S}  {told(event, site.plan, zone)}")
    if not events and not arguments.json:
        print("Nothing in the log for that.")
    return 0


def told(event: Event, plan: Plan, zone: Zone) -> str:
    """One line for a person, in the keeper's units."""
    body: dict[str, Any] = dict(event.body)
    why = f": {show_why(plan, body['why'])}" if body.get("why") else ""
    if event.type == "alarm":
        value = "" if body["value"] is None else " at " + show_number(plan, f"{body['value']:g}", body["unit"])
        return f"{body['priority']:<8} {body['rule']} ({body['side']}) {body['was']} -> {body['state']}{value}{why}"
    if event.type == "decision":
        return f"decision {body['stage']} {body['action']} ({body['mode']}){why}"
    if event.type == "notice":
        return f"message  to {body['person']} ({body['purpose']}): {body['title']}"
    if event.type == "act":
        shown = ("rule", "side", "on_duty", "rules", "point", "method", "value", "amount", "unit", "text")
        about = " ".join(str(body[key]) for key in shown if body.get(key))
        until = f" until {zone.moment(body['until']):%d %b %H:%M:%S}" if body.get("until") else ""
        refused = f"; refused: {body['refused']}" if body.get("refused") else ""
        return f"{body['kind']:<8} by {body['who']} {about}{until}{refused}"
    if event.type == "off":
        return f"off      {body.get('why', 'the daemon did not run')}"
    return f"{event.type:<8} {body.get('rule') or body.get('point') or ''}{why}"
