"""Do the fast engine and the twin say the same of one case, however it is cut?"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from typing import Any, Protocol

from rules.acts import Act
from rules.block import Block
from rules.engine import Engine
from rules.events import Event
from tests.twin.case import Case
from tests.twin.twin import Twin

COMPARED = {
    "alarm": ("rule", "side", "was", "state", "priority", "value"),
    "decision": ("stage", "action", "inputs"),
}
"""Event type -> the fields in which both must agree."""

Said = dict[str, list[tuple[Any, ...]]]


class Stepped(Protocol):
    """Whatever can be fed step by step."""

    def step(self, blocks: Iterable[Block], acts: Iterable[Act], now: int) -> list[Event]:
        """Judge what has come."""


def said(events: Iterable[Event]) -> Said:
    """What must agree, in order, by type."""
    out: Said = {kind: [] for kind in COMPARED}
    for event in events:
        if event.type in COMPARED:
            out[event.type].append((event.t, *(_plain(event.body.get(key)) for key in COMPARED[event.type])))
    return out


def _plain(value: Any) -> Any:
    return tuple(value.items()) if isinstance(value, dict) else value


def feed(judge: Stepped, case: Case) -> Said:
    """Everything that `judge` says of a case."""
    return said(event for step in case.steps for event in judge.step(step.blocks(), step.acts, step.now))


def feed_with_restarts(case: Case) -> Said:
    """What the fast engine says if before each step it is made anew from its written state."""
    events: list[Event] = []
    engine = Engine(case.plan, case.start)
    for step in case.steps:
        engine = Engine.restore(case.plan, json.loads(json.dumps(engine.state())))
        events += engine.step(step.blocks(), step.acts, step.now)
    return said(events)


def disagreement(case: Case, *, cuts_matter: bool) -> str | None:
    """The first disagreement as text, or None. `cuts_matter`: something is late, so one step is another case."""
    expected = feed(Twin(case.plan, case.start), case)
    ways: dict[str, Callable[[], Said]] = {
        "the fast engine": lambda: feed(Engine(case.plan, case.start), case),
        "the fast engine, restored before each step": lambda: feed_with_restarts(case),
    }
    if not cuts_matter:
        whole = case.in_one_step()
        ways["the twin in one step"] = lambda: feed(Twin(case.plan, case.start), whole)
        ways["the fast engine in one step"] = lambda: feed(Engine(case.plan, case.start), whole)
    for name, way in ways.items():
        found = way()
        if found != expected:
            return _difference(name, expected, found, case.start)
    return None


def _difference(name: str, expected: Said, found: Said, start: int) -> str:
    lines = [f"{name} and the twin do not agree"]
    for kind in COMPARED:
        if found[kind] != expected[kind]:
            both = set(expected[kind]) & set(found[kind])
            rows = [("both" if row in both else "twin", row) for row in expected[kind]]
            rows += [("fast", row) for row in found[kind] if row not in both]
            lines += [
                f"  {who}: {kind} {_from_start(row, start)}" for who, row in sorted(rows, key=lambda row: row[1][0])
            ]
            if sorted(map(repr, found[kind])) == sorted(map(repr, expected[kind])):
                lines.append(f"  only the order of {kind} events differs")
    return "\n".join(lines)


def _from_start(row: tuple[Any, ...], start: int) -> tuple[Any, ...]:
    return (row[0] - start, *row[1:])
