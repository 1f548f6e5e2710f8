"""How does the place stand now: readings with age and flag, standing alarms, unsent messages?"""

from __future__ import annotations

import argparse
import json
from typing import Any

from daemon.adapter_states import AdapterState, read_states
from daemon.arguments import json_argument, site_argument
from daemon.clock import SystemClock
from daemon.commands.alarms import as_line
from daemon.orders import order_lines, shown_orders
from daemon.selfwatch.names import OWN
from daemon.selfwatch.plan import watched_site
from daemon.site.load import Site, load_site
from daemon.store import Sending, StoreReader
from rules.alarms import State
from rules.door import as_decimal
from rules.engine import Engine
from rules.events import show_time
from rules.flags import Flag
from rules.limits_of import limits_of
from rules.local_time import Zone
from rules.showing import show

EXAMPLE = "tidebed now site.toml"

_OLD = 180_000
"""ms; the daemon writes at least every minute."""
_FLAGS = {Flag.PASS: "", Flag.NOT_EVALUATED: "", Flag.SUSPECT: "suspect", Flag.FAIL: "fail", Flag.MISSING: "missing"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE and --json."""
    site_argument(parser)
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print what the store holds; the daemon may run meanwhile."""
    site = watched_site(load_site(arguments.site))
    with StoreReader(site.store_path, site.plan.points) as store:
        saved = store.checkpoint()
        unsent = store.unsent()
    now = SystemClock().now()
    states = read_states(site.store_path)
    engine = None if saved is None else Engine.restore(site.plan, saved)
    if arguments.json:
        for line in _lines(site, engine, unsent, now) + _state_lines(states):
            print(json.dumps(line, ensure_ascii=False))
    else:
        _print(site, engine, unsent, now)
        _print_states(site, states, now)
    return 0


def _state_lines(states: list[AdapterState]) -> list[dict[str, Any]]:
    return [
        {
            "type": "adapter",
            "t": show_time(one.time),
            "name": one.name,
            "state": one.state,
            "received": one.received,
            "refused": one.refused,
            "last_error": one.last_error,
        }
        for one in states
    ]


def _print_states(site: Site, states: list[AdapterState], now: int) -> None:
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False)
    if states:
        old = "; the daemon has not written since" if now - states[0].time > _OLD else ""
        console.print(
            f"\nHow readings come in, as of {Zone(site.plan.timezone).moment(states[0].time):%d %b %H:%M}{old}:"
        )
    for one in states:
        causes = ", ".join(f"{cause} {count}" for cause, count in sorted(one.refused.items(), key=lambda own: -own[1]))
        told = f"  {one.name:<12} {one.state:<10} {one.received} {'reading' if one.received == 1 else 'readings'}"
        told += f", {sum(one.refused.values())} refused ({causes})" if causes else ""
        told += f"; last trouble: {one.last_error}" if one.last_error else ""
        plain = "".join(char if char.isprintable() else "?" for char in told)
        console.print(Text(plain, style="" if one.state == "connected" else "yellow"))


def _lines(site: Site, engine: Engine | None, unsent: list[Sending], now: int) -> list[dict[str, Any]]:
    lines: list[dict[str, Any]] = []
    newest = {} if engine is None else engine.newest()
    for point in site.plan.points if engine is None else engine.points.values():
        if point.id.startswith(OWN) and point.id not in newest:
            continue  # a daemon that does not measure itself
        time, counts, flag = newest.get(point.id, (None, None, None))
        missing = counts is None or flag == Flag.MISSING
        lines.append(
            {
                "type": "reading",
                "point": point.id,
                "t": None if time is None else show_time(time),
                "age_s": None if time is None else (now - time) / 1000,
                "value": None if missing else float(as_decimal(counts or 0, point.resolution)),
                "unit": point.unit,
                "flag": flag,
            }
        )
    lines += [] if engine is None else order_lines(engine.life.orders)
    for alarm in [] if engine is None else engine.alarms():
        lines.append({"type": "alarm", **as_line(alarm)})
    for sending in unsent:
        lines.append(
            {
                "type": "unsent",
                "person": sending.person,
                "way": sending.way,
                "title": sending.title,
                "priority": sending.priority,
                "purpose": sending.purpose,
                "attempts": sending.attempts,
                "reason": sending.reason,
            }
        )
    return lines


_NAMED = 3
"""Alarms that are over, of which as many are named."""


def _age(ms: int) -> str:
    seconds = max(0, ms // 1000)
    for size, word in ((86_400, "d"), (3_600, "h"), (60, "min")):
        if seconds >= 2 * size:
            return f"{seconds // size} {word} ago"
    return f"{seconds} s ago"


def _print(site: Site, engine: Engine | None, unsent: list[Sending], now: int) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    if engine is None:
        console.print(f"{site.plan.name}: nothing has been heard yet; does `tidebed run` run?")
        return
    zone = Zone(site.plan.timezone)
    console.print(f"{site.plan.name}: judged up to {zone.moment(engine.frontier):%d %b %H:%M:%S}", style="bold")
    table = Table(box=None, pad_edge=False)
    for title in ("point", "value", "age", "limits", ""):
        table.add_column(title, justify="right" if title in ("value", "age") else "left", style="")
    newest = engine.newest()
    for point in engine.points.values():
        if point.id.startswith(OWN) and point.id not in newest:
            continue
        limits = limits_of(site.plan, point)
        if point.id not in newest:
            table.add_row(point.name or point.id, "never heard", "", limits, "silent", style="dim")
            continue
        time, counts, flag = newest[point.id]
        old = now - time > point.stale_after
        note = " ".join(word for word in (_FLAGS[Flag(flag)], "silent" if old else "") if word)
        value = "no value" if flag == Flag.MISSING else show(site.plan, point, counts)
        style = "yellow" if note else ""
        table.add_row(point.name or point.id, value, _age(now - time), limits, note, style=style)
    console.print(table)
    for order in shown_orders(site, engine.life.orders):
        console.print(f"\n{order}", style="yellow")
    alarms = engine.alarms()
    over = [alarm for alarm in alarms if alarm["state"] == State.RETURNED]
    if len(over) == len(alarms):
        console.print("\nNo alarm stands.")
    for alarm in alarms:
        if alarm in over:
            continue
        since = f" since {zone.moment(alarm['since']):%d %b %H:%M}" if alarm["since"] else ""
        style = "bold red" if alarm["priority"] == "critical" and alarm["active"] else ""
        console.print(f"{alarm['priority']:<8} {alarm['rule']} ({alarm['side']}) {alarm['state']}{since}", style=style)
    if over:
        named = ", ".join(f"{alarm['rule']} ({alarm['side']})" for alarm in over[:_NAMED])
        more = f" and {len(over) - _NAMED} more" if len(over) > _NAMED else ""
        console.print(f"Over, not acknowledged: {named}{more}; `tidebed ack --returned`", style="dim")
    for sending in unsent:
        why = f": {sending.reason}" if sending.reason else ""
        console.print(f"unsent to {sending.person} by {sending.way}: {sending.title} ({sending.attempts} tries{why})")
