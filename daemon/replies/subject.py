"""Which alarm is a message about, and does that activation of it still wait for somebody?"""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

from daemon.store import Sending, StoreReader
from rules.acts import ActKind
from rules.alarms import State
from rules.events import Event

ASKS = frozenset(("first", "next", "repeat", "drill", "chattering"))
"""The purposes of messages that ask somebody to look: only these can be answered."""
_WAITING = (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED_UNACKNOWLEDGED)
_SEEN = (State.ACKNOWLEDGED, State.LATCHED_ACKNOWLEDGED)


class Standing(StrEnum):
    """How the alarm of a message stands now."""

    WAITING = "waiting"
    NOTED = "noted"
    """Somebody's answer has been handed in and is taken within a second or so."""
    SEEN = "seen"
    OVER = "over"
    SET_ASIDE = "set_aside"
    """Shelved, suppressed or out of service: there is nothing to acknowledge."""
    NEWER = "newer"
    """It came back since: a later message is about that."""
    UNKNOWN = "unknown"


class Subject(NamedTuple):
    """What a message is about. since, at: ms UTC; at: when it came to stand so; who: acknowledged it."""

    sending: Sending
    standing: Standing
    since: int
    at: int
    who: str = ""


def subject_of(store: StoreReader, sending: Sending) -> Subject:
    """The alarm that `sending` told of, as the log has it now."""
    unknown = Subject(sending, Standing.UNKNOWN, sending.created, sending.created)
    if not sending.rule or sending.purpose not in ASKS:
        return unknown
    before = _changes(store, sending, None, sending.created)
    raised = [event for event in before if event.body["state"] == State.UNACKNOWLEDGED]
    if not raised:
        return unknown
    since = raised[-1].body["since"]
    later = _changes(store, sending, sending.created, None)
    last = [*before, *later][-1]
    if any(e.body["state"] == State.UNACKNOWLEDGED and e.body["since"] != since for e in later):
        return Subject(sending, Standing.NEWER, since, last.t)
    standing = _standing(State(last.body["state"]))
    if standing is Standing.WAITING and _is_handed_in(store, sending):
        standing = Standing.NOTED
    who = (last.body.get("why") or "").removeprefix("by ").partition(":")[0] if standing is Standing.SEEN else ""
    return Subject(sending, standing, since, last.t, who)


_MOST = 1000
"""Changes of one rule that are looked through, the newest."""


def _changes(store: StoreReader, sending: Sending, after: int | None, upto: int | None) -> list[Event]:
    found = store.events(after, upto, rule=sending.rule, type="alarm", limit=_MOST)
    return [event for event in found if event.body["side"] == sending.side]


def _standing(state: State) -> Standing:
    if state in _WAITING:
        return Standing.WAITING
    if state in _SEEN:
        return Standing.SEEN
    return Standing.OVER if state is State.NORMAL else Standing.SET_ASIDE


def _is_handed_in(store: StoreReader, sending: Sending) -> bool:
    return any(
        act.kind is ActKind.ACKNOWLEDGE and act.rule in (None, sending.rule) and act.side in (None, sending.side)
        for _, act in store.inbox()
    )
