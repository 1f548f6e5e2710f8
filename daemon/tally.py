"""How is the daemon doing? Counts by cause and the health line that shows them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from adapters.intake import Health


@dataclass(slots=True)
class Tally:
    """Counts since the daemon started."""

    readings: int = 0
    repeats: int = 0
    contradicted: int = 0
    behind: int = 0
    rounded: int = 0
    commits: int = 0
    slowest_commit: float = 0.0
    """Seconds, since the last health line."""
    refused: Counter[str] = field(default_factory=Counter)
    _told: int = 0

    def line(self, adapters: Iterable[Health], alarms: int, unsent: int, frontier_lag: float) -> str:
        """One line for the log: readings, what was refused and why, alarms, messages, adapters."""
        new, self._told = self.readings - self._told, self.readings
        parts = [f"{self.readings} readings (+{new})"]
        causes = ", ".join(f"{cause} {count}" for cause, count in self.refused.most_common(6))
        parts.append(f"{self.refused.total()} refused" + (f" ({causes})" if causes else ""))
        for count, word in (
            (self.repeats, "repeated"),
            (self.contradicted, "contradicted"),
            (self.behind, "late"),
            (self.rounded, "rounded"),
        ):
            if count:
                parts.append(f"{count} {word}")
        parts.append(f"{alarms} {'alarm stands' if alarms == 1 else 'alarms stand'}")
        parts.append(f"{unsent} unsent")
        parts.append(f"commit up to {self.slowest_commit * 1000:.0f} ms")
        if frontier_lag > 30:
            parts.append(f"judging {frontier_lag:.0f} s behind")
        self.slowest_commit = 0.0
        for health in adapters:
            error = f": {health.last_error}" if health.last_error and health.state != "connected" else ""
            parts.append(f"{health.name} {health.state}{error}")
        return "health: " + "; ".join(parts)
