"""How is it shown what people have ordered for a while: an absence, mutes, a drill?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from daemon.site.load import Site
from rules.events import show_time
from rules.local_time import Zone
from rules.people import PersonSettings
from rules.standing_orders import StandingOrders
from rules.turns import second_told


def shown_orders(site: Site, orders: StandingOrders) -> list[str]:
    """A line for each, with its end in local time."""
    zone = Zone(site.plan.timezone)
    lines = []
    if orders.away is not None:
        end = f"{zone.moment(orders.away.until):%d %b %H:%M}"
        lines.append(f"away until {end}; {shown_duty(site.plan.persons, orders.away.on_duty)}")
    lines += [f"muted until {zone.moment(mute.until):%d %b %H:%M}: {', '.join(mute.rules)}" for mute in orders.mutes]
    if orders.drill_until:
        of = ", ".join(orders.drilled) or "all rules"
        lines.append(f"a drill of {of} runs until {zone.moment(orders.drill_until):%d %b %H:%M}")
    return lines


def shown_duty(persons: Sequence[PersonSettings], on_duty: Sequence[str]) -> str:
    """Who is told while somebody is away."""
    second = second_told(persons, on_duty)
    others = [p.id for p in persons if p.id not in on_duty and (p.id == second or not p.after)]
    return f"on duty: {', '.join(on_duty)}; told with them at once: {', '.join(others) or 'nobody else'}"


def order_lines(orders: StandingOrders) -> list[dict[str, Any]]:
    """The same as JSON lines."""
    lines: list[dict[str, Any]] = []
    if orders.away is not None:
        lines.append({"order": "away", "until": orders.away.until, "on_duty": list(orders.away.on_duty)})
    lines += [{"order": "mute", "until": mute.until, "rules": list(mute.rules)} for mute in orders.mutes]
    if orders.drill_until:
        lines.append({"order": "drill", "until": orders.drill_until, "rules": list(orders.drilled)})
    return [{"type": "order", **line, "until": show_time(line["until"])} for line in lines]
