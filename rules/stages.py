"""What is one step of holding the air?"""

from __future__ import annotations

from enum import StrEnum
from typing import Literal

from pydantic import Field

from rules.durations import Duration
from rules.settings import Amount, Settings


class Action(StrEnum):
    """What a stage does."""

    CIRCULATE_GROUND_AIR = "circulate_ground_air"
    OPEN_VENTS = "open_vents"
    RUN_FANS = "run_fans"
    SHADE = "shade"
    HEAT = "heat"


class StageSettings(Settings):
    """A stage engages beyond `on` and releases at or within `off` (same sides as band)."""

    id: str = Field(pattern=r"^[a-z0-9_]+(\.[a-z0-9_]+)*$")
    action: Action
    point: str
    side: Literal["high", "low"] = "high"
    on: Amount
    off: Amount
    min_on: Duration = 0
    min_off: Duration = 0
    step_delay: Duration = Field(default=0, description="how long this stage waits after the one before it engaged")
    follows: str | None = Field(
        None, description="the stage before this one; left out, the one above it with the same side"
    )
    only_if: tuple[str, ...] = Field(default=(), description="rules whose conditions must be true")
    safe: Literal["on", "off"] = Field(default="off", description="state while the point is unknown")
