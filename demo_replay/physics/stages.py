"""What do the house's own fans and vents do? A plain staged controller with deadbands and least times."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True)
class Stage:
    """One step of holding the air: engages beyond `on`, releases at or within `off`, degC.

    Either lasts `least` s at least. `on` above `off` holds the air cool, `on` below `off` warm.
    """

    on: float
    off: float
    least: float = 240.0
    engaged: bool = False
    held: float = 1e9
    """s since the last change."""

    def step(self, temperature: float, seconds: float) -> bool:
        """Move on by `seconds` at `temperature`; returns whether the stage is engaged."""
        self.held += seconds
        beyond = temperature > self.on if self.on > self.off else temperature < self.on
        within = temperature <= self.off if self.on > self.off else temperature >= self.off
        if self.held >= self.least and (within if self.engaged else beyond):
            self.engaged = not self.engaged
            self.held = 0.0
        return self.engaged


@dataclass(frozen=True, slots=True)
class AirStages:
    """The stages of the house: ground air first, for storing heat and for giving it back, then vents, then the fan."""

    store_heat: Stage
    give_heat: Stage
    vents: Stage
    fan: Stage


def air_stages() -> AirStages:
    """The controller as it stands at the start of a day; limits in degC invented, order common practice."""
    return AirStages(Stage(24.0, 21.5), Stage(9.0, 11.0), Stage(27.0, 24.0), Stage(30.0, 27.5))
