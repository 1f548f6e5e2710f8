"""How are events and acts written down, and found again?"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from daemon.store.connection import Connection
from daemon.store.errors import damaged
from rules.acts import Act, ActKind
from rules.events import Event


def compact(value: object) -> str:
    """JSON without blanks, letters as they are."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def read_json(connection: Connection, text: str | bytes) -> Any:
    """What `compact` wrote. Raises StoreDamaged where the text is none any more."""
    try:
        return json.loads(text)
    except ValueError as error:
        raise damaged(connection.path, f"text that is no JSON: {error}") from error


def add_events(connection: Connection, events: Iterable[Event]) -> None:
    """Append events, within the caller's transaction."""
    connection.run_many(
        "INSERT INTO event (t, type, rule, line) VALUES (?, ?, ?, ?)",
        [(e.t, e.type, e.body.get("rule") or e.body.get("stage"), compact(dict(e.body))) for e in events],
    )


def find_events(
    connection: Connection, after: int | None, upto: int | None, rule: str | None, kind: str | None, limit: int | None
) -> list[Event]:
    """The newest `limit` events that fit, oldest first; after < t <= upto; rule: a rule's or stage's id."""
    wanted = {"t > ?": after, "t <= ?": upto, "rule = ?": rule, "type = ?": kind}
    chosen = {test: value for test, value in wanted.items() if value is not None}
    where = f" WHERE {' AND '.join(chosen)}" if chosen else ""
    rows = connection.rows(
        f"SELECT t, type, line FROM event{where} ORDER BY t DESC, id DESC LIMIT ?",
        (*chosen.values(), -1 if limit is None else limit),
    )
    return [Event(t, type_, read_json(connection, line)) for t, type_, line in reversed(rows)]


def write_act(act: Act) -> str:
    """An act as JSON."""
    return compact({key: value for key, value in asdict(act).items() if value not in (None, "", {})})


def read_act(text: str) -> Act:
    """An act from its JSON."""
    fields: dict[str, Any] = json.loads(text)
    return Act(**{**fields, "kind": ActKind(fields["kind"])})


def add_acts(connection: Connection, acts: Iterable[Act]) -> None:
    """Append acts, within the caller's transaction."""
    connection.run_many(
        "INSERT INTO act (time, kind, until, act) VALUES (?, ?, ?, ?)",
        [(act.time, str(act.kind), act.until, write_act(act)) for act in acts],
    )


def find_acts(connection: Connection, after: int | None, upto: int | None) -> list[Act]:
    """Acts with after < time <= upto in order of time; also `off` spans that began earlier and reach into it."""
    low = -(2**63) if after is None else after
    high = 2**63 - 1 if upto is None else upto
    rows = connection.rows(
        "SELECT act FROM act WHERE (time > ? OR (kind = ? AND until > ?)) AND time <= ? ORDER BY time, id",
        (low, str(ActKind.OFF), low, high),
    )
    return [read_act(text) for (text,) in rows]


def find_kind(connection: Connection, kind: ActKind) -> list[Act]:
    """All acts of a kind in order of time."""
    rows = connection.rows("SELECT act FROM act WHERE kind = ? ORDER BY time, id", (str(kind),))
    return [read_act(text) for (text,) in rows]
