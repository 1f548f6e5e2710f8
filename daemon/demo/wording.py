"""How is an event told to a keeper in one line, as it comes?"""

from __future__ import annotations

from typing import NamedTuple

from daemon.demo.process import Line
from rules.alarms import State

MARKS = {"critical": "◆", "high": "▲", "medium": "●", "low": "○"}
"""By priority: shapes tell it without colour."""
STYLES = {"critical": "bold red", "high": "red", "medium": "yellow", "low": ""}
QUIET = "dim"
STANDING = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.SUPPRESSED)
"""States of an alarm whose condition holds."""
_STEPS = {"engage": "on", "release": "off", "hold": "held back"}


class Told(NamedTuple):
    """What came, in two or three words; what it is about; and the style of both."""

    what: str
    about: str
    style: str = ""


def told(line: Line) -> Told | None:
    """The event in words; None for messages, which are shown when they arrive. What others explain is grey."""
    kind = line["type"]
    if kind == "alarm":
        return _alarm(line)
    if kind == "decision":
        does = str(line["does"]).replace("_", " ")
        return Told("  advice", f"{does}: {_STEPS.get(line['action'], line['action'])} ({line['why']})")
    if kind == "notice":
        return None
    about = line.get("rule") or line.get("point") or line.get("who") or ""
    return Told(f"  {kind}", f"{about} {line.get('why') or ''}".strip(), QUIET)


def _alarm(line: Line) -> Told:
    state, priority = State(line["state"]), str(line["priority"])
    if state is State.UNACKNOWLEDGED:
        what = f"{MARKS.get(priority, ' ')} {priority} alarm"
        # What speaks against it as well is in the log.
        return Told(what, f"{called(line)}: {str(line['why']).partition(';')[0]}", STYLES.get(priority, ""))
    if state is State.SUPPRESSED:
        # The first that explains it is enough here; the log has all.
        return Told("  kept quiet", f"{called(line)}: {str(line['why']).partition(',')[0]}", QUIET)
    if state in (State.NORMAL, State.RETURNED):
        return Told("  over", called(line), QUIET if State(line["was"]) is State.SUPPRESSED else "")
    return Told(f"  {state}", called(line))


def called(line: Line) -> str:
    """`loop.stopped`, `tank.oxygen_warn`, `loop.leak (fall)`: the side only where the rule's name does not tell it."""
    rule, side = str(line["rule"]), str(line["side"])
    return rule if side in rule.replace("_", ".").split(".") else f"{rule} ({side})"
