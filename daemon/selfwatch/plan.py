"""Which points and rules has the daemon of its own? Ordinary ones: judged, logged and replayed like all others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Any

from daemon.selfwatch.names import (
    BOARD,
    BOARD_HOT,
    CLOCK,
    CLOCK_JUMP,
    COMMIT_TIME,
    DISK,
    DISK_FREE,
    NO_READINGS,
    NOT_TAKEN,
    OWN,
    READINGS_AGE,
    REFUSED,
    RESTARTED,
    STARTS,
    STORE,
    UNSENT,
    UNSENT_AGE,
)
from daemon.site.adapters import CONNECTIONS
from daemon.site.load import Site
from daemon.site.reach import SelfwatchTable
from daemon.store import StoreReader
from rules.conditions import KINDS
from rules.conditions.silent import SilentSettings
from rules.durations import MINUTE
from rules.plan import Plan, PointPlan
from rules.settings import Priority, RuleSettings

_MILLI, _TENTH, _ONE = Fraction(1, 1000), Fraction(1, 10), Fraction(1)
_POINTS = (
    (READINGS_AGE, "Newest reading", "duration", "s", _ONE),
    (CLOCK_JUMP, "The board's clock", "duration", "s", _MILLI),
    (DISK_FREE, "Room on the disk", "ratio", "%", _TENTH),
    (UNSENT_AGE, "Oldest critical message", "duration", "s", _ONE),
    (REFUSED, "Messages refused within an hour", "state", "1", _ONE),
    (COMMIT_TIME, "Writing to the disk", "duration", "s", _MILLI),
    (STARTS, "Starts within a day", "count", "1", _ONE),
    (BOARD, "The board", "equipment_temperature", "degC", _TENTH),
)
"""id, what it is called, quantity, unit, resolution."""
_STALE_AFTER = 3


def watched(site: Site) -> Plan:
    """The plan that the daemon judges: the site file's, and what it watches of itself, unless that is switched off."""
    table = site.selfwatch
    if not table.enabled:
        return site.plan
    plan = site.plan
    rules = tuple(_rule(settings, table) for settings in _settings(site) if settings["id"] not in table.without)
    return replace(plan, points=(*plan.points, *_points(table)), rules=(*plan.rules, *rules))


def watched_site(site: Site) -> Site:
    """The site with that plan, for commands that look at what the daemon has kept."""
    return replace(site, plan=watched(site))


def as_kept(site: Site) -> Site:
    """The site with the plan by which its store was filled: a daemon by a played clock does not measure itself."""
    with StoreReader(site.store_path) as store:
        own = any(name.startswith(OWN) for name in store.points())
    return watched_site(site) if own else site


def _points(table: SelfwatchTable) -> Iterator[PointPlan]:
    for name, called, quantity, unit, resolution in _POINTS:
        yield PointPlan(
            name, quantity, unit, resolution, table.every, _STALE_AFTER * table.every, name=called, quality=()
        )


def _settings(site: Site) -> Iterator[dict[str, Any]]:
    table = site.selfwatch
    if any(adapter.kind in CONNECTIONS for adapter in site.adapters.values()):
        silent = [rule for rule in site.plan.rules if getattr(rule, "kind", "") == "silent"]
        critical = any(rule.priority is Priority.CRITICAL for rule in silent)
        yield {
            "id": NO_READINGS,
            "point": READINGS_AGE,
            "high": _seconds(table.no_readings_after or _no_readings_after(site.plan, silent)),
            # It speaks for those that it explains, so it must wake whom they would have woken.
            "priority": "critical" if critical else "high",
            "title": "No readings come in at all",
            "says": "The newest is {value} old, so nothing is watched",
            "do": "look at the place yourself; then at the board's network and the broker.",
            # One message in place of one for each silent point. What these say as well comes back with the readings.
            "explains": tuple(rule.id for rule in silent),
        }
    yield {
        "id": CLOCK,
        "point": CLOCK_JUMP,
        "high": _seconds(table.clock_jump),
        "priority": "medium",
        "title": "The board's clock is wrong or jumped: {value}",
        "says": "Times in the log may be wrong, by {value}",
        "do": "see that the board has a network, or a battery for its clock.",
    }
    yield {
        "id": DISK,
        "point": DISK_FREE,
        "low": str(table.disk_free),
        "deadband": "0.5",
        "priority": "high",
        "title": "The disk is nearly full: {value} free",
        "do": "delete what is not needed there, or move the store to a larger disk.",
    }
    yield {
        "id": UNSENT,
        "point": UNSENT_AGE,
        "high": _seconds(table.unsent_after),
        "priority": "high",
        "title": "A critical message cannot be sent",
        "says": "It waits for {value}",
        "do": "look at the place yourself; then check the router and `tidebed now`.",
    }
    yield {
        "id": NOT_TAKEN,
        "point": REFUSED,
        "high": "0",
        "priority": "high",
        "title": "A service refuses our messages",
        "says": "One was refused within the hour",
        "do": "run `tidebed notify-test` and mend the address it names.",
    }
    yield {
        "id": STORE,
        "point": COMMIT_TIME,
        "high": _seconds(table.slow_commit),
        "priority": "medium",
        "title": "Writing to the disk is slow: {value}",
        "do": "save a backup now; a memory card that becomes slow is often about to fail.",
    }
    yield {
        "id": RESTARTED,
        "point": STARTS,
        "high": str(table.restarts),
        "priority": "medium",
        "title": "The board keeps starting again",
        "says": "Starts within a day: {value}. Each time nothing was watched for a while",
        "do": "look at its supply and plug; if lights dim or the mains flickers, call an electrician.",
    }
    yield {
        "id": BOARD_HOT,
        "point": BOARD,
        "high": str(table.board_hot),
        "deadband": "5",
        "on_delay": "5 min",
        "priority": "medium",
        "title": "The board is hot: {value}",
        "says": "Its processor is at {value}; it may stop or spoil its memory card",
        "do": "shade it, open the vents of its box, keep it out of the wet.",
    }


def _no_readings_after(plan: Plan, silent: Sequence[RuleSettings]) -> int:
    """How long (ms) nothing may come in: less than what a silent point is given before it is told, so that one message
    comes in place of many; but no less than the fastest point may take."""
    points = {point.id: point for point in plan.points}
    told = [points[rule.point].stale_after + rule.on_delay for rule in silent if isinstance(rule, SilentSettings)]
    wanted = min([5 * MINUTE, *(3 * at // 4 for at in told)])
    return max(MINUTE, wanted, 3 * min(point.stale_after for point in plan.points) // 4)


def _rule(settings: Mapping[str, Any], table: SelfwatchTable) -> RuleSettings:
    priority = table.priorities.get(settings["id"], settings["priority"])
    return KINDS["band"].model_validate({"kind": "band", **settings, "priority": priority})


def _seconds(ms: int) -> str:
    """In the points' unit."""
    return str(Decimal(ms) / 1000)
