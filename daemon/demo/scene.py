"""How do things stand on the played day at this moment, as far as they are shown?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from daemon.demo.process import Line
from daemon.demo.wording import MARKS, STANDING, called
from demo_replay.script import Message
from demo_replay.watching import Watching
from rules.alarms import State
from rules.plan import Plan

_WORST_FIRST = tuple(MARKS)


@dataclass(frozen=True, slots=True)
class Scene:
    """One moment: the played clock (ms UTC) and its speed, what is done of all, and the newest reading of each point.

    judged: up to which instant the daemon has judged, ms UTC; seconds_left: of real time.
    """

    now: int
    judged: int
    speed: float
    share: float
    seconds_left: float
    sent: int
    latest: Mapping[str, Message]


@dataclass(frozen=True, slots=True)
class Delivered:
    """A message that reached a phone. t: when it was written, ms UTC; waited: real seconds from then to the phone.

    owner: whose phone; purpose: first, next, recovery and so on.
    """

    t: int
    waited: float
    owner: str
    title: str
    body: str
    priority: str
    purpose: str


class Alarms:
    """Which alarms stand, and which points they rest on, as the events tell."""

    def __init__(self, plan: Plan) -> None:
        self._watching = Watching(plan)
        self._standing: dict[tuple[str, str], Line] = {}
        self._titles: dict[tuple[str, str], str] = {}

    def hear(self, line: Line) -> None:
        """Take up one event."""
        if line["type"] == "notice" and line["purpose"] == "first":
            self._titles[line["rule"], line["side"]] = line["title"]
        if line["type"] != "alarm":
            return
        if State(line["state"]) in STANDING:
            self._standing[line["rule"], line["side"]] = line
        else:
            self._standing.pop((line["rule"], line["side"]), None)

    def told(self) -> list[Line]:
        """Those that somebody is told of, worst first."""
        told = [line for line in self._standing.values() if State(line["state"]) is not State.SUPPRESSED]
        return sorted(told, key=lambda line: _rank(line["priority"]))

    def names(self) -> list[str]:
        """What to call them: as in the message, else as in the site file."""
        return [self._titles.get((line["rule"], line["side"]), called(line)) for line in self.told()]

    def priorities(self) -> dict[str, str]:
        """point -> the worst priority of the alarms that rest on it, whether told or explained by others."""
        worst: dict[str, str] = {}
        for line in sorted(self._standing.values(), key=lambda line: -_rank(line["priority"])):
            for point in self._watching.decisive(line["rule"]):
                worst[point] = line["priority"]
        return worst


def _rank(priority: str) -> int:
    return _WORST_FIRST.index(priority) if priority in _WORST_FIRST else len(_WORST_FIRST)
