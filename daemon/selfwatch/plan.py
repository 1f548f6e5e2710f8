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
from rules.durations import MINUTE, show_duration
from rules.plan import Plan, PointPlan
from rules.settings import Priority, RuleSettings
from rules.texts import Words

_MILLI, _TENTH, _ONE = Fraction(1, 1000), Fraction(1, 10), Fraction(1)
_POINTS = (
    (READINGS_AGE, "duration", "s", _ONE),
    (CLOCK_JUMP, "duration", "s", _MILLI),
    (DISK_FREE, "ratio", "%", _TENTH),
    (UNSENT_AGE, "duration", "s", _ONE),
    (REFUSED, "state", "1", _ONE),
    (COMMIT_TIME, "duration", "s", _MILLI),
    (STARTS, "count", "1", _ONE),
    (BOARD, "equipment_temperature", "degC", _TENTH),
)
"""id, quantity, unit, resolution. What each is called stands with the texts, by its id."""
_IN_SECONDS = frozenset(name for name, _, unit, _ in _POINTS if unit == "s")
_STALE_AFTER = 3
_KEYS = {
    NO_READINGS: "no_readings_after",
    CLOCK: "clock_jump",
    DISK: "disk_free",
    UNSENT: "unsent_after",
    STORE: "slow_commit",
    RESTARTED: "restarts",
    BOARD_HOT: "board_hot",
}
"""rule -> the key of `[selfwatch]` that holds its limit."""


def watched(site: Site) -> Plan:
    """The plan that the daemon judges: the site file's, and what it watches of itself, unless that is switched off."""
    table = site.selfwatch
    if not table.enabled:
        return site.plan
    plan = site.plan
    words = Words(plan.texts)
    rules = tuple(_rule(settings, table, words) for settings in _settings(site) if settings["id"] not in table.without)
    return replace(plan, points=(*plan.points, *_points(table, words)), rules=(*plan.rules, *rules))


def watched_site(site: Site) -> Site:
    """The site with that plan, for commands that look at what the daemon has kept."""
    return replace(site, plan=watched(site))


def as_kept(site: Site) -> Site:
    """The site with the plan by which its store was filled: a daemon by a played clock does not measure itself."""
    with StoreReader(site.store_path) as store:
        own = any(name.startswith(OWN) for name in store.points())
    return watched_site(site) if own else site


def _points(table: SelfwatchTable, words: Words) -> Iterator[PointPlan]:
    stale = _STALE_AFTER * table.every
    for name, quantity, unit, resolution in _POINTS:
        yield PointPlan(name, quantity, unit, resolution, table.every, stale, name=words.say(name), quality=())


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
            # One message in place of one for each silent point. What these say as well comes back with the readings.
            "explains": tuple(rule.id for rule in silent),
        }
    yield {"id": CLOCK, "point": CLOCK_JUMP, "high": _seconds(table.clock_jump), "priority": "medium"}
    yield {"id": DISK, "point": DISK_FREE, "low": str(table.disk_free), "deadband": "0.5", "priority": "high"}
    yield {"id": UNSENT, "point": UNSENT_AGE, "high": _seconds(table.unsent_after), "priority": "high"}
    yield {"id": NOT_TAKEN, "point": REFUSED, "high": "0", "priority": "high"}
    yield {"id": STORE, "point": COMMIT_TIME, "high": _seconds(table.slow_commit), "priority": "medium"}
    yield {"id": RESTARTED, "point": STARTS, "high": str(table.restarts), "priority": "medium"}
    yield {
        "id": BOARD_HOT,
        "point": BOARD,
        "high": str(table.board_hot),
        "deadband": "5",
        "on_delay": "5 min",
        "priority": "medium",
    }


def _no_readings_after(plan: Plan, silent: Sequence[RuleSettings]) -> int:
    """How long (ms) nothing may come in: less than what a silent point is given before it is told, so that one message
    comes in place of many; but no less than the fastest point may take."""
    points = {point.id: point for point in plan.points}
    told = [points[rule.point].stale_after + rule.on_delay for rule in silent if isinstance(rule, SilentSettings)]
    wanted = min([5 * MINUTE, *(3 * at // 4 for at in told)])
    return max(MINUTE, wanted, 3 * min(point.stale_after for point in plan.points) // 4)


def _rule(settings: Mapping[str, Any], table: SelfwatchTable, words: Words) -> RuleSettings:
    rule = settings["id"]
    said = {part: words.say(f"{rule}.{part}") for part in ("title", "says", "do") if f"{rule}.{part}" in words}
    said["advice"] = _advice(settings, words)
    priority = table.priorities.get(rule, settings["priority"])
    return KINDS["band"].model_validate({"kind": "band", **settings, **said, "priority": priority})


def _advice(settings: Mapping[str, Any], words: Words) -> str:
    """What would calm a rule: its deadband and delays are not the keeper's to set, its limit is."""
    key = _KEYS.get(settings["id"])
    if key is None:
        return words.say("advice.nothing")
    limit = settings["low"] if "low" in settings else settings["high"]
    now = show_duration(int(Decimal(limit) * 1000)) if settings["point"] in _IN_SECONDS else limit
    return words.say("advice.lower" if "low" in settings else "advice.raise", table="[selfwatch]", key=key, now=now)


def _seconds(ms: int) -> str:
    """In the points' unit."""
    return str(Decimal(ms) / 1000)
