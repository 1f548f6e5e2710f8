"""What does the engine say? Alarms, decisions, notices, and what became of readings and acts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


def show_time(ms: int) -> str:
    """RFC 3339 in UTC with milliseconds: `2026-04-03T02:14:30.000Z`."""
    moment = dt.datetime.fromtimestamp(ms // 1000, tz=dt.UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{ms % 1000:03d}Z"


_TIMES = ("since", "until", "known_upto", "at", "effective")
"""Of a body: ms UTC; in the data of an act, which is text, as digits."""


@dataclass(frozen=True, slots=True)
class Event:
    """One event: `t` ms UTC, `type` (alarm, decision, notice, quality, act, off, fault) and its other fields.

    `body` holds only text, numbers, booleans, None, and lists and dicts of these.
    alarm: rule, side, was, state, priority, value, unit, why, since (ms).
    decision: stage, action, mode, inputs, why. notice: person, title, text, rule, side (both None where it is about no
    one alarm), priority, purpose (first, next, repeat, recovery, drill, summary, chattering, digest, sign-of-life),
    key, ways.
    act: kind, who, rule, side, until, text. off: until, why (where the daemon ran all the
    same). fault: rule, why. quality: point, why.
    """

    t: int
    type: str
    body: Mapping[str, Any] = field(default_factory=dict)

    def line(self) -> dict[str, Any]:
        """The event as the contract's JSON object; every time in it is RFC 3339."""
        found = {key: str(self.body[key]) for key in _TIMES if self.body.get(key) is not None}
        times = {key: show_time(int(ms)) for key, ms in found.items() if ms.isdecimal()}
        return {"t": show_time(self.t), "type": self.type, **self.body, **times}
