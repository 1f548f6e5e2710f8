"""Which settings of the rules are others than those in use before? So that the log tells when a limit was changed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from rules.durations import show_duration
from rules.plan import Plan

KIND = "settings"
"""The kind of the note that tells of them."""
_COUNTS = ("n", "needed", "min_readings")
"""Settings of a rule that are whole numbers and no lengths of time."""
_MOST = 12
"""Changes that one note tells."""


def settings_of(plan: Plan) -> str:
    """What is compared: every setting of every rule that is not left at its default, as JSON."""
    rules = {rule.id: rule.model_dump(mode="json", exclude_defaults=True) for rule in plan.rules}
    return json.dumps(rules, sort_keys=True, ensure_ascii=False)


def told_changes(before: str, now: str) -> str:
    """`tank.warm high 26 -> 27; air.hot is new`; empty where nothing differs. before, now: as settings_of gave them."""
    found = list(_changes(json.loads(before), json.loads(now)))
    more = len(found) - _MOST
    return "; ".join(found[:_MOST]) + (f"; and {more} more" if more > 0 else "")


def _changes(before: dict[str, dict[str, Any]], now: dict[str, dict[str, Any]]) -> Iterator[str]:
    for rule in [*now, *(gone for gone in before if gone not in now)]:
        if rule not in before:
            yield f"{rule} is new"
        elif rule not in now:
            yield f"{rule} is gone"
        else:
            for key in [*now[rule], *(gone for gone in before[rule] if gone not in now[rule])]:
                old, new = before[rule].get(key), now[rule].get(key)
                if old != new:
                    yield f"{rule} {key} {_shown(key, old)} -> {_shown(key, new)}"


def _shown(key: str, value: object) -> str:
    if value is None:
        return "unset"
    if isinstance(value, int) and not isinstance(value, bool) and key not in _COUNTS:
        return show_duration(value)
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 40 else "(long)"
