"""Which alarms may change though nothing new is said of them? The shelved, and those that others may explain."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from rules.alarms import Alarm, State


class Awake:
    """The few alarms of a plan that need a look at every instant. Whoever changes an alarm notes it here."""

    def __init__(self, alarms: Mapping[str, Mapping[str, Alarm]], can_quiet: Collection[str]) -> None:
        """alarms: rule -> side -> alarm, in the order of the site file; can_quiet: rules that others may suppress."""
        every = (alarm for sides in alarms.values() for alarm in sides.values())
        self._place = {(alarm.rule, alarm.side): place for place, alarm in enumerate(every)}
        self._can_quiet = can_quiet
        self._noted: dict[int, Alarm] = {}

    def note(self, alarm: Alarm) -> None:
        """An alarm has changed."""
        if self._needs_a_look(alarm):
            self._noted[self._place[alarm.rule, alarm.side]] = alarm

    def by_rule(self) -> dict[str, list[Alarm]]:
        """rule -> those of its sides that are awake now, in the order of the site file."""
        found: dict[str, list[Alarm]] = {}
        if self._noted:
            noted = sorted(self._noted.items())
            self._noted = {place: alarm for place, alarm in noted if self._needs_a_look(alarm)}
            for alarm in self._noted.values():
                found.setdefault(alarm.rule, []).append(alarm)
        return found

    def ends(self) -> list[int]:
        """When the shelving of some alarm ends, ms; in no order."""
        return [alarm.shelved_until for alarm in self._noted.values() if alarm.shelved_until]

    def _needs_a_look(self, alarm: Alarm) -> bool:
        if alarm.shelved_until or alarm.state is State.SUPPRESSED:
            return True
        return alarm.active and alarm.rule in self._can_quiet
