"""Which messages that waited while the link was down need not all be sent one by one?

An alarm that came and went meanwhile needs nobody's hand any more; several of them become one message. Of several
messages about an alarm that still stands, the newest says all that the others would.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from daemon.store import Sending, State
from rules.durations import DAY
from rules.local_time import Zone
from rules.messages import BODY_SIZE
from rules.showing import fitted

_RANKS = ("critical", "high", "medium")
_RAISING = frozenset(("first", "next", "repeat"))
_END = " All are over. First: when there is time, look at the log."


class Folded(NamedTuple):
    """What becomes of one lane: numbers that a later message tells of, and the one that tells of those that are over.

    over: numbers that `digest` tells of; outdated: numbers of which a newer message about the same alarm tells.
    """

    digest: Sending | None
    over: list[int]
    outdated: list[int]


class _Episode(NamedTuple):
    raised: list[Sending]
    recovery: Sending


def fold(waiting: Sequence[Sending], now: int, stale: int, zone: Zone) -> Folded:
    """Fold one person's messages by one way, in their order.

    waiting: those that are owed; now: ms UTC; stale: ms, younger ones are left as they are. A message that may have
    arrived is left, since it must say so itself.
    """
    episodes: list[_Episode] = []
    open_: dict[tuple[str, str], list[Sending]] = {}
    for sending in waiting:
        about = (sending.rule, sending.side)
        old = now - sending.created >= stale
        if not sending.rule or not old or sending.uncertain or sending.state is not State.OWED:
            continue
        if sending.purpose in _RAISING:
            open_.setdefault(about, []).append(sending)
        elif sending.purpose == "recovery" and about in open_:
            episodes.append(_Episode(open_.pop(about), sending))
    outdated = [sending.number for raised in open_.values() for sending in raised[:-1]]
    if len(episodes) < 2:
        return Folded(None, [], outdated)
    over = [sending.number for raised, recovery in episodes for sending in (*raised, recovery)]
    return Folded(_digest(episodes, now, zone), sorted(over), outdated)


def _digest(episodes: list[_Episode], now: int, zone: Zone) -> Sending:
    first, last = episodes[0].raised[0], max((e.recovery for e in episodes), key=lambda sending: sending.number)
    priorities = {episode.raised[0].priority for episode in episodes}
    return Sending(
        message_id=f"folded/{first.number}-{last.number}/{first.person}/{first.way}",
        person=first.person,
        way=first.way,
        title=f"{len(episodes)} alarms came and went while the link was down",
        body=_listed(episodes, now, zone),
        priority=next((rank for rank in _RANKS if rank in priorities), "low"),
        purpose="digest",
        created=now,
    )


def _listed(episodes: list[_Episode], now: int, zone: Zone) -> str:
    """As many as fit, the most pressing first."""
    room = BODY_SIZE - len(_END)
    ranked = sorted(episodes, key=lambda e: _RANKS.index(p) if (p := e.raised[0].priority) in _RANKS else len(_RANKS))
    told = [
        f"{episode.raised[0].title}, {_clock(episode.raised[0].created, now, zone)} to "
        f"{_clock(episode.recovery.created, now, zone)}"
        for episode in ranked
    ]
    for shown in range(len(told), 0, -1):
        left = len(told) - shown
        text = "; ".join(told[:shown]) + (f"; and {left} more." if left else ".")
        if len(text) <= room:
            return text + _END
    return fitted(told[0], room) + _END


def _clock(ms: int, now: int, zone: Zone) -> str:
    moment = zone.moment(ms)
    return f"{moment:%H:%M}" if now - ms < DAY / 2 else f"{moment:%a %H:%M}"
