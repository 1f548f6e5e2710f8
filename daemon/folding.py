"""Which messages that waited while the link was down need not all be sent one by one?

An alarm that came and went meanwhile needs nobody's hand any more; several of them become one message. Of several
messages about an alarm that still stands, the newest says all that the others would.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from daemon.store import Sending, State
from rules.local_time import Zone
from rules.messages import BODY_SIZE, TITLE_SIZE
from rules.showing import fitted
from rules.texts import Words

_RANKS = ("critical", "high", "medium")
_RAISING = frozenset(("first", "next", "repeat"))


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


def fold(waiting: Sequence[Sending], now: int, stale: int, zone: Zone, words: Words) -> Folded:
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
    return Folded(_digest(episodes, now, zone, words), sorted(over), outdated)


def _digest(episodes: list[_Episode], now: int, zone: Zone, words: Words) -> Sending:
    first, last = episodes[0].raised[0], max((e.recovery for e in episodes), key=lambda sending: sending.number)
    priorities = {episode.raised[0].priority for episode in episodes}
    return Sending(
        message_id=f"folded/{first.number}-{last.number}/{first.person}/{first.way}",
        person=first.person,
        way=first.way,
        title=fitted(words.say("folded.title", count=len(episodes)), TITLE_SIZE),
        body=_listed(episodes, now, zone, words),
        priority=next((rank for rank in _RANKS if rank in priorities), "low"),
        purpose="digest",
        created=now,
    )


def _listed(episodes: list[_Episode], now: int, zone: Zone, words: Words) -> str:
    """As many as fit, the most pressing first."""
    ranked = sorted(episodes, key=lambda e: _RANKS.index(p) if (p := e.raised[0].priority) in _RANKS else len(_RANKS))
    told = [
        words.say(
            "folded.item",
            title=episode.raised[0].title,
            begun=words.clock(zone, episode.raised[0].created, now),
            over=words.clock(zone, episode.recovery.created, now),
        )
        for episode in ranked
    ]
    for shown in range(len(told), 0, -1):
        more = [words.say("more", count=len(told) - shown)] if shown < len(told) else []
        text = words.say("folded", alarms="; ".join([*told[:shown], *more]))
        if len(text) <= BODY_SIZE:
            break
    return fitted(text, BODY_SIZE)
