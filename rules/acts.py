"""What can people and the machine do to the engine? Acts with a time, logged and replayed like readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class ActKind(StrEnum):
    """The kinds of act. `off` is the span in which the daemon did not run."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    MUTE = "mute"
    RESET = "reset"
    OUT_OF_SERVICE = "out_of_service"
    IN_SERVICE = "in_service"
    NOTE = "note"
    CALIBRATE = "calibrate"
    DRILL = "drill"
    AWAY = "away"
    OFF = "off"


@dataclass(frozen=True, slots=True)
class Act:
    """One act.

    time: ms UTC; who: a person or "tidebed"; rule and side: what it is about, where it is about an alarm
    (side None: all sides; rule None: all rules where that makes sense); until: end in ms UTC of a shelving, mute,
    drill or away, or the end of an `off` span that began at `time`; text: a note or a reason.
    data: of a note `kind`, of one that is a reading also `point`, `value`, `unit` and `at` (ms UTC); of a calibration
    what rules/calibrations.py reads; of a mute and a drill `rules` and `points`, of away `on_duty` (persons), each with
    commas; of an acknowledgement which activation was seen: `since` (the one that began then, ms UTC) or `known_upto`
    (those that were raised by then); neither: whatever stands.
    """

    time: int
    kind: ActKind
    who: str = "keeper"
    rule: str | None = None
    side: str | None = None
    until: int | None = None
    text: str = ""
    data: Mapping[str, str] = field(default_factory=dict)

    def has_seen(self, since: int, raised: int) -> bool:
        """Whether it is about an activation that began at `since` and was raised at `raised` (ms UTC)."""
        if "since" in self.data:
            return self.data["since"] == str(since)
        return "known_upto" not in self.data or raised <= int(self.data["known_upto"])

    def body(self) -> dict[str, Any]:
        """What an event says of it; what is left out of the act is left out of the event."""
        named = {"rule": self.rule, "side": self.side, "until": self.until, "text": self.text}
        given = {name: value for name, value in named.items() if value}
        return {"kind": self.kind.value, "who": self.who} | given | dict(self.data)

    def saved(self) -> list[Any]:
        """As JSON."""
        return [self.time, self.kind.value, self.who, self.rule, self.side, self.until, self.text, dict(self.data)]

    @classmethod
    def restored(cls, saved: list[Any]) -> Act:
        """What `saved` gave."""
        time, kind, who, rule, side, until, text, data = saved
        return cls(time, ActKind(kind), who, rule, side, until, text, data)


def noted_kinds(act: Act) -> tuple[str, ...]:
    """The kinds of log entry that an act is: of a calibration also that of its point, as in `calibration tank.ph`."""
    if act.kind is ActKind.CALIBRATE:
        return ("calibration", f"calibration {act.data['point']}")
    return (act.data.get("kind", ""),) if act.kind is ActKind.NOTE else ()
