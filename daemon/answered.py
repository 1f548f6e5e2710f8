"""Which messages are not sent any more, because somebody has answered since they were made?

Whoever answers is told that nobody else is called. So what is still waiting then, for its time or for a link that is
down, is left: the next person's, repeats, and that something is over of which somebody was therefore never told.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from daemon.store import Sending, State
from daemon.store.connection import Connection
from daemon.store.inbox import waiting as handed_in
from daemon.store.log import find_acts, find_events
from daemon.store.sendings import told_before
from rules.acts import Act, ActKind
from rules.alarms import State as Alarm
from rules.events import Event

ANSWERED = "somebody has answered since"
"""The reason that the store keeps."""
_CALLS = frozenset(("next", "repeat"))
_SEEN = frozenset((Alarm.ACKNOWLEDGED, Alarm.LATCHED_ACKNOWLEDGED))
_RECENT = 50
"""Changes of one rule that are looked through for the one that a message tells of."""


def answered(connection: Connection, waiting: Iterable[Sending]) -> list[int]:
    """The numbers of those of `waiting` that need not be sent.

    An answer counts as soon as it is handed in: it is judged only once everything before it has had time to come.
    """
    owed = [sending for sending in waiting if sending.rule and sending.state is State.OWED]
    calls = [sending for sending in owed if sending.purpose in _CALLS]
    acts = [act for _, act in handed_in(connection)] if calls else []
    spared = [sending.number for sending in calls if _is_answered(connection, sending, acts)]
    for sending in owed:
        if sending.purpose == "recovery":
            told = told_before(connection, sending)
            if told and all(one.number in spared or one.reason == ANSWERED for one in told):
                spared.append(sending.number)
    return spared


def _is_answered(connection: Connection, sending: Sending, acts: Sequence[Act]) -> bool:
    later = _changes(connection, sending, sending.created, None)
    if any(event.body["state"] in _SEEN for event in later):
        return True
    about = [
        act
        for act in (*acts, *find_acts(connection, sending.created - 1, None))
        if act.kind is ActKind.ACKNOWLEDGE and act.rule in (None, sending.rule) and act.side in (None, sending.side)
    ]
    if not about:
        return False
    before = _changes(connection, sending, None, sending.created)
    raised = [event for event in before if event.body["state"] == Alarm.UNACKNOWLEDGED]
    return bool(raised) and any(act.has_seen(raised[-1].body["since"], raised[-1].t) for act in about)


def _changes(connection: Connection, sending: Sending, after: int | None, upto: int | None) -> list[Event]:
    found = find_events(connection, after, upto, sending.rule, "alarm", _RECENT)
    return [event for event in found if event.body["side"] == sending.side]
