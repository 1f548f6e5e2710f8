"""What should one stage do now, and what holds it back?"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rules.stages import StageSettings
from rules.units import parse_amount
from tests.twin.history import History
from tests.twin.running_time import RunningTime
from tests.twin.truth import Truth


class Stage:
    """One stage: on or off, since when, and why it is not what it should be."""

    def __init__(
        self,
        settings: StageSettings,
        before: Stage | None,
        histories: Mapping[str, History],
        condition_of: Callable[[str], Truth],
        running: RunningTime,
    ) -> None:
        self.settings = settings
        self.before = before
        self.history = histories[settings.point]
        self.on = False
        self.changed: int | None = None
        self.engaged_at: int | None = None
        self._held_back: str | None = None
        self._condition_of = condition_of
        self._running = running

    def judge(self, t: int) -> tuple[str, str] | None:
        """What is decided at instant t: (engage, release or hold; why), or None where nothing is new."""
        wanted = self._wanted()
        if wanted == self.on:
            self._held_back = None
            return None
        reason = None if self.history.silent else self._reason(t, wanted)
        if reason is None:
            self.on, self.changed, self._held_back = wanted, t, None
            if wanted:
                self.engaged_at = t
            return ("engage" if wanted else "release"), ""
        if reason == self._held_back:
            return None
        self._held_back = reason
        return "hold", reason

    def due(self) -> list[int]:
        """When something that may hold it back will have passed."""
        out = []
        if self.changed is not None:
            out.append(self._running.due(self.changed, self._minimum()))
        if self.before is not None and self.before.engaged_at is not None:
            out.append(self._running.due(self.before.engaged_at, self.settings.step_delay))
        return out

    def _wanted(self) -> bool:
        """The state that the last reading asks for; between `off` and `on` the one that it is in."""
        if self.history.silent:
            return self.settings.safe == "on"
        if not self.history.known:
            return self.on
        value = self.history.now()
        on = parse_amount(self.settings.on, self.history.plan.units)
        off = parse_amount(self.settings.off, self.history.plan.units)
        beyond, within = (value > on, value <= off) if self.settings.side == "high" else (value < on, value >= off)
        if beyond:
            return True
        if within:
            return False
        return self.on

    def _minimum(self) -> int:
        return self.settings.min_on if self.on else self.settings.min_off

    def _reason(self, t: int, wanted: bool) -> str | None:
        if self.changed is not None and self._running.due(self.changed, self._minimum()) > t:
            return "minimum on time" if self.on else "minimum off time"
        if not wanted:
            return None
        if self.before is not None:
            if not self.before.on or self.before.engaged_at is None:
                return f"{self.before.settings.id} is not engaged"
            if self._running.due(self.before.engaged_at, self.settings.step_delay) > t:
                return f"step delay after {self.before.settings.id}"
        for rule in self.settings.only_if:
            if self._condition_of(rule) is not True:
                return f"{rule} is not true"
        return None
