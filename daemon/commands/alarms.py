"""Which alarms stand: since when, why, and what explains them?"""

from __future__ import annotations

import argparse
import json
from typing import Any

from daemon.arguments import json_argument, site_argument
from daemon.clock import SystemClock
from daemon.selfwatch.plan import watched_site
from daemon.site.load import Site, load_site
from daemon.store import StoreReader
from rules.engine import Engine
from rules.events import show_time
from rules.local_time import Zone
from rules.showing import show_why

EXAMPLE = "tidebed alarms site.toml"

_RANKS = ("critical", "high", "medium", "low")
_TIMES = ("since", "shelved_until", "muted_until")
_SET_ASIDE = ("shelved", "suppressed", "out-of-service")
_ORDER = {"returned": 1} | dict.fromkeys(_SET_ASIDE, 2)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE and --json."""
    site_argument(parser)
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print what the store holds; the daemon may run meanwhile."""
    site = watched_site(load_site(arguments.site))
    found = standing(site)
    if arguments.json:
        for alarm in found:
            print(json.dumps(as_line(alarm), ensure_ascii=False))
    else:
        _print(site, found)
    return 0


def as_line(alarm: dict[str, Any]) -> dict[str, Any]:
    """For JSON: each time of it as RFC 3339, or null where there is none."""
    return alarm | {key: show_time(alarm[key]) if alarm[key] else None for key in _TIMES}


def standing(site: Site) -> list[dict[str, Any]]:
    """Every alarm that is not normal, the most pressing first; behind them those that are over, then those set aside.

    Keys: rule, side, state, priority, since, active, shelved_until, muted_until (times in ms UTC), title, why (of its
    last change), explained_by (rules).
    """
    with StoreReader(site.store_path, site.plan.points) as store:
        saved = store.checkpoint()
        if saved is None:
            return []
        alarms = Engine.restore(site.plan, saved).alarms()
        rules = {rule.id: rule for rule in site.plan.rules}
        for alarm in alarms:
            changes = store.events(rule=alarm["rule"], type="alarm", limit=_LOOKED_THROUGH)
            why = next((e.body.get("why") or "" for e in reversed(changes) if e.body["side"] == alarm["side"]), "")
            title = rules[alarm["rule"]].text_of(alarm["side"], "title") if alarm["rule"] in rules else None
            alarm |= {"title": title or "", "why": why, "explained_by": _explained_by(why)}
    alarms.sort(key=lambda alarm: (_ORDER.get(alarm["state"], 0), _RANKS.index(alarm["priority"]), alarm["since"]))
    return alarms


_LOOKED_THROUGH = 200
"""Changes of one rule, the newest."""
_EXPLAINED = "explained by "


def _explained_by(why: str) -> list[str]:
    return why.removeprefix(_EXPLAINED).split(", ") if why.startswith(_EXPLAINED) else []


def _print(site: Site, found: list[dict[str, Any]]) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False, markup=False)
    if not found:
        console.print("No alarm stands.")
        return
    zone = Zone(site.plan.timezone)
    now = SystemClock().now()
    table = Table(box=None, pad_edge=False)
    for title in ("priority", "alarm", "state", "since", "why"):
        table.add_column(title, overflow="fold")
    for alarm in found:
        state = alarm["state"]
        if alarm.get("muted_until"):
            state += f", muted until {zone.moment(alarm['muted_until']):%d %b %H:%M}"
        if alarm["shelved_until"]:
            state += f" until {zone.moment(alarm['shelved_until']):%d %b %H:%M}"
        since = _since(zone, alarm["since"], now) if alarm["since"] else ""
        pressing = alarm["priority"] == "critical" and alarm["active"] and alarm["state"] not in _SET_ASIDE
        aside = alarm["state"] in _SET_ASIDE
        table.add_row(
            alarm["priority"],
            f"{alarm['rule']} ({alarm['side']})",
            state,
            since,
            show_why(site.plan, alarm["why"]),
            style="bold red" if pressing else "dim" if aside else "",
        )
    console.print(table)


def _since(zone: Zone, since: int, now: int) -> str:
    moment = zone.moment(since)
    return f"{moment:%H:%M}" if moment.date() == zone.moment(now).date() else f"{moment:%d %b %H:%M}"
