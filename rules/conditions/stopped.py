"""When has the water stopped? When the weights of the true evidence reach `needed`; contrary evidence weighs negative."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rules.durations import Duration
from rules.settings import Amount, RuleSettings, Settings


class Evidence(Settings):
    """One piece of evidence about one point: exactly one of under, over, still, moved, falling, rising.

    `under`/`over`: value strictly beyond. `still`: max - min <= span over `window`; `moved`: max - min >= span within
    `window`; `falling`/`rising`: least-squares slope over `window` beyond a rate. `lasting`: true for so long.
    """

    point: str
    weight: int = Field(1, description="negative: contrary evidence")
    under: Amount | None = None
    over: Amount | None = None
    still: Amount | None = None
    moved: Amount | None = None
    falling: str | None = None
    rising: str | None = None
    window: Duration | None = None
    min_readings: int = Field(3, ge=2)
    lasting: Duration = 0


class StoppedSettings(RuleSettings):
    """Weighed evidence that water no longer moves; sides `stopped` and `blind`."""

    kind: Literal["stopped"]
    evidence: tuple[Evidence, ...] = Field(min_length=1)
    needed: int = Field(1, ge=1, description="how much weight must be true")
