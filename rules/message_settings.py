"""What holds for the messages of a whole site: gathering, repeats, floods, chattering, and the daily words?"""

from __future__ import annotations

from pydantic import Field

from rules.durations import HOUR, MINUTE, Duration
from rules.metrics import BIN, CHATTERING, FLOOD_BEGINS_OVER, FLOOD_ENDS_UNDER
from rules.settings import Priority, Settings


class MessageSettings(Settings):
    """`[messages]`: left out, everything is as common practice has it."""

    gather: Duration = Field(
        default=MINUTE,
        description="how long a message that is not critical waits, to see whether its cause speaks or it returns",
    )
    repeat: dict[Priority, Duration] = Field(
        default={Priority.CRITICAL: 5 * MINUTE, Priority.HIGH: 60 * MINUTE},
        description='by priority: how often a message is repeated until acknowledged, as in { critical = "5 min" }',
    )
    repeat_at_most: dict[Priority, int] = Field(
        default={Priority.HIGH: 1}, description="by priority: how many repeats; left out, until acknowledged"
    )
    away_waits: float = Field(
        default=0.5,
        gt=0,
        le=1,
        description="while somebody is away: the part of the usual time that repeats and the next person wait",
    )
    singly: int = Field(
        default=3, ge=1, description="more messages than this at one moment become one, critical ones apart"
    )
    flood_begins_over: int = Field(
        default=FLOOD_BEGINS_OVER, ge=1, description="more new alarms than this within flood_within are a flood"
    )
    flood_ends_under: int = Field(
        default=FLOOD_ENDS_UNDER, ge=1, description="it ends when fewer than this are left within flood_within"
    )
    flood_within: Duration = BIN
    chattering: int = Field(default=CHATTERING, ge=2, description="so many activations within chattering_within")
    # The standard counts within a minute. Under delays of a minute no alarm can come so often, and a contact that
    # flickers every few minutes would ring a phone all day.
    chattering_within: Duration = HOUR
    chattering_settled: Duration = Field(
        default=30 * MINUTE, description="how long a chattering alarm must rest to be told singly again"
    )
    sign_of_life: str = Field(
        default="",
        description='what the daily sign of life tells besides, as in "Flow {loop.flow}, oxygen {tank.oxygen}"',
    )
