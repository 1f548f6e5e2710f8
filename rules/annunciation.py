"""Are there more new alarms than a person can take in, or does one alarm come and go? Floods and chattering, live."""

from __future__ import annotations

from typing import Any

from rules.delays import due_key
from rules.message_settings import MessageSettings
from rules.metrics import is_chattering
from rules.running import Running

Side = tuple[str, str]
"""Rule and side."""


class Flood:
    """Whether a flood of new alarms runs: begun by more than so many within a time, over when fewer are left."""

    def __init__(self, settings: MessageSettings) -> None:
        self._settings = settings
        self._raised: list[int] = []
        """Keys of the newest new alarms, no more than decide."""
        self.runs = False

    def hear(self, key: int, running: Running) -> bool:
        """An alarm is newly raised; whether a flood begins with it."""
        self._raised = [*self._raised[-self._settings.flood_begins_over :], key]
        if self.runs or len(self._raised) <= self._settings.flood_begins_over:
            return False
        self.runs = due_key(self._raised[0], self._settings.flood_within, running) > key
        return self.runs

    def ends(self, running: Running) -> int | None:
        """The key at which the flood that runs is over if nothing more is raised."""
        if not self.runs:
            return None
        left = self._settings.flood_ends_under
        return due_key(self._raised[max(0, len(self._raised) - left)], self._settings.flood_within, running)

    def expire(self, key: int, running: Running) -> None:
        """Note the end of a flood at an instant."""
        end = self.ends(running)
        if end is not None and end <= key:
            self.runs = False

    def state(self) -> list[Any]:
        """What must survive a restart."""
        return [self.runs, self._raised]

    def load(self, state: list[Any]) -> None:
        """Take up what `state` gave."""
        self.runs, self._raised = state


class Chattering:
    """Which alarms come and go, from so many activations within a time until they have rested."""

    def __init__(self, settings: MessageSettings) -> None:
        self._settings = settings
        self._recent: dict[Side, list[int]] = {}
        """The newest activations of each alarm, ms."""
        self._changed: dict[Side, int] = {}
        """Of each chattering alarm, the key of its last change."""

    def __contains__(self, side: Side) -> bool:
        return side in self._changed

    def activated(self, side: Side, key: int) -> bool:
        """An alarm is raised by its condition; whether it begins to chatter with that."""
        most = self._settings.chattering
        recent = self._recent[side] = [*self._recent.get(side, ())[-most + 1 :], key >> 1]
        began = side not in self._changed and is_chattering(recent, most, self._settings.chattering_within)
        if began or side in self._changed:
            self._changed[side] = key
        return began

    def returned(self, side: Side, key: int) -> None:
        """An alarm is over."""
        if side in self._changed:
            self._changed[side] = key

    def rests(self, side: Side, running: Running) -> int | None:
        """The key at which a chattering alarm has rested; None where it does not chatter."""
        at = self._changed.get(side)
        return None if at is None else due_key(at, self._settings.chattering_settled, running)

    def ends(self, running: Running) -> list[int]:
        """The keys at which alarms have rested."""
        return [due_key(at, self._settings.chattering_settled, running) for at in self._changed.values()]

    def expire(self, key: int, running: Running) -> list[Side]:
        """The alarms that have rested at an instant; they chatter no more."""
        if not self._changed:
            return []
        settled = self._settings.chattering_settled
        rested = [side for side, at in self._changed.items() if due_key(at, settled, running) <= key]
        for side in rested:
            del self._changed[side], self._recent[side]
        return rested

    def state(self) -> list[Any]:
        """What must survive a restart."""
        return [[[*side, times] for side, times in self._recent.items()], [[*s, at] for s, at in self._changed.items()]]

    def load(self, state: list[Any]) -> None:
        """Take up what `state` gave."""
        recent, changed = state
        self._recent = {(rule, side): times for rule, side, times in recent}
        self._changed = {(rule, side): at for rule, side, at in changed}
