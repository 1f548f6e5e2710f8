"""Which settings does every rule share, whatever its kind?"""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from rules.durations import Duration


class Settings(BaseModel):
    """Base of all settings classes: frozen, and unknown keys are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


def _number_or_text(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal | str):
        raise ValueError("is no amount; write a number in the point's unit, or text with a unit of its own")
    return Decimal(repr(value)) if isinstance(value, float) else Decimal(value) if isinstance(value, int) else value


Amount = Annotated[Decimal | str, BeforeValidator(_number_or_text)]
"""A number in the point's unit, or text with a unit of its own (`"90 degF"`); resolved when the plan is compiled."""


class Priority(StrEnum):
    """How much a rule matters (ISA-18.2); `log` lends its condition to others and raises no alarm."""

    CRITICAL = "critical"
    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"
    LOG = "log"


class During(Settings):
    """Local hours and season in which a rule's condition counts; outside it is false."""

    hours: str | None = Field(default=None, description='local time of day, as in "20:00-07:00"')
    season: str | None = Field(default=None, description='months and days, as in "11-01..03-31"')


class Runway(Settings):
    """How the time that is left is estimated: from the present value to `limit`, at the measured slope or at `loss`."""

    point: str
    limit: Amount
    loss: str | None = Field(
        default=None, description='expected loss, as in "2.4 mg/L/h" (negative: a gain); used until a slope is measured'
    )
    window: Duration = Field(
        default=600_000, description="over which the slope is measured, once the alarm has stood so long"
    )
    harm: str = Field(default="", description='what happens at the limit, as in "fish are in danger"')


class SideSettings(Settings):
    """What one side of a rule has of its own, as `[rule.sides.low]`; what is left out is the rule's."""

    priority: Priority | None = None
    title: str | None = None
    says: str | None = None
    do: str | None = None


class SidesSettings(Settings):
    """The sides that can have something of their own; which of them a rule has, its kind says."""

    high: SideSettings | None = None
    low: SideSettings | None = None
    rise: SideSettings | None = None
    fall: SideSettings | None = None
    period: SideSettings | None = None
    full: SideSettings | None = None
    empty: SideSettings | None = None

    def given(self) -> dict[str, SideSettings]:
        """Side -> what it has, of those that have something."""
        found = {name: getattr(self, name) for name in type(self).model_fields}
        return {name: own for name, own in found.items() if own is not None}


class RuleSettings(Settings):
    """What every rule has. Kinds add their own keys in rules/conditions/."""

    id: str = Field(pattern=r"^[a-z0-9_]+(\.[a-z0-9_]+)*$", description="name of the rule, as in tank.warm")
    priority: Priority = Priority.MEDIUM
    on_delay: Duration = Field(default=0, description="how long the condition must hold before the alarm")
    off_delay: Duration = Field(default=0, description="how long the return must hold before it is believed")
    title: str | None = Field(
        None, description="what is wrong, for a lock screen; {value}, {some.point} and {36 degC} are filled in"
    )
    says: str | None = Field(
        default=None, description="the numbers in a sentence; {some.point} is filled in with its value"
    )
    do: str | None = Field(default=None, description="what to do first")
    advice: str | None = Field(
        default=None, description="what would calm it, told when it comes and goes; left out, deadband and delays"
    )
    explains: tuple[str, ...] = Field(default=(), description="rules whose alarms this one accounts for")
    after: Duration = Field(default=0, description="how long past its return it still explains them")
    never_suppressed: bool = False
    latch: bool = False
    while_: str | None = Field(default=None, alias="while", description="only while this rule's condition is true")
    during: During | None = None
    since_note: str | None = Field(default=None, description="only after a log entry of this kind")
    within: Duration | None = Field(default=None, description="how long after that entry")
    suppressed_while: str | None = Field(
        default=None, description="while this rule's condition is true, as when fish are fed, the alarm is not told"
    )
    runway: Runway | None = None
    sides: SidesSettings = Field(default=SidesSettings(), description="what a side has of its own")

    def priority_of(self, side: str) -> Priority:
        """The side's own, else the rule's."""
        own = self.sides.given().get(side)
        return self.priority if own is None or own.priority is None else own.priority

    def text_of(self, side: str, key: Literal["title", "says", "do"]) -> str | None:
        """The side's own, else the rule's. side: "" for any of them."""
        own: str | None = getattr(self.sides.given().get(side), key, None)
        rules: str | None = getattr(self, key)
        return rules if own is None else own
