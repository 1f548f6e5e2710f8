"""When has the water stopped? When the weights of true evidence reach `needed`; contrary evidence weighs negative."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

from pydantic import Field, model_validator

from rules.durations import Duration, show_duration
from rules.edges import FALSE, TRUE, UNKNOWN, Edges, Judged, combine, negated, truth_at
from rules.lasting import Lasting
from rules.plan import PointPlan
from rules.predicates import Predicate, over, under
from rules.running import Running
from rules.settings import Amount, RuleSettings, Settings
from rules.units import parse_amount, parse_rate
from rules.view import Surroundings, View
from rules.windowed import Moved, Steeper, Still

_TESTS = ("under", "over", "still", "moved", "falling", "rising")


class Evidence(Settings):
    """One piece of evidence about one point: exactly one of under, over, still, moved, falling, rising.

    `under`/`over`: value strictly beyond. `still`: max - min <= span over `window`; `moved`: max - min >= span within
    `window`; `falling`/`rising`: least-squares slope over `window` beyond a rate. `lasting`: true for so long.
    """

    point: str
    weight: int = Field(default=1, description="negative: contrary evidence")
    under: Amount | None = None
    over: Amount | None = None
    still: Amount | None = None
    moved: Amount | None = None
    falling: str | None = None
    rising: str | None = None
    window: Duration | None = None
    min_readings: int = Field(default=3, ge=2)
    lasting: Duration = 0

    @model_validator(mode="after")
    def _one_test(self) -> Evidence:
        given = [name for name in _TESTS if getattr(self, name) is not None]
        if len(given) != 1:
            raise ValueError(f"evidence on {self.point} needs exactly one of {', '.join(_TESTS)}")
        if given[0] in _TESTS[2:] and self.window is None:
            raise ValueError(f'evidence on {self.point}: {given[0]} needs a window, as in window = "10 min"')
        if self.weight == 0:
            raise ValueError(f"evidence on {self.point} weighs nothing; give it a weight or leave it out")
        return self

    def words(self) -> str:
        """`loop.flow under 2`, `bed1.level moved 3 cm within 30 min`."""
        name = next(name for name in _TESTS if getattr(self, name) is not None)
        within = f" over {show_duration(self.window)}" if self.window is not None else ""
        return f"{self.point} {name} {getattr(self, name)}{within}"

    def predicate(self, point: PointPlan) -> Predicate:
        """The statement, in counts of the point; raises UnitError where it does not fit the point."""
        window = self.window or 0
        if self.under is not None:
            return under(parse_amount(self.under, point.units) / point.resolution)
        if self.over is not None:
            return over(parse_amount(self.over, point.units) / point.resolution)
        if self.still is not None:
            return Still(parse_amount(self.still, point.units, difference=True) / point.resolution, window)
        if self.moved is not None:
            return Moved(parse_amount(self.moved, point.units, difference=True) / point.resolution, window)
        text, sign = (self.rising, 1) if self.rising is not None else (self.falling, -1)
        rate = parse_rate(text or "", point.units) / point.resolution
        return Steeper(rate, sign, window, self.min_readings, window // 2)


class StoppedSettings(RuleSettings):
    """Weighed evidence that water no longer moves; sides `stopped` and `blind`."""

    kind: Literal["stopped"]
    evidence: tuple[Evidence, ...] = Field(min_length=1)
    needed: int = Field(default=1, ge=1, description="how much weight must be true")

    @model_validator(mode="after")
    def _some_positive(self) -> StoppedSettings:
        if all(item.weight < 0 for item in self.evidence):
            raise ValueError("all evidence is contrary; at least one piece needs a positive weight")
        return self

    def build(self, around: Surroundings) -> Stopped:
        """The condition; raises UnitError where evidence does not fit its point."""
        parts = [Lasting(item.predicate(around.points[item.point]), item.lasting) for item in self.evidence]
        return Stopped(self, parts)


class Stopped:
    """The compiled condition."""

    rests_on: tuple[str, ...] = ()
    sides = ("stopped", "blind")

    def __init__(self, settings: StoppedSettings, parts: list[Lasting]) -> None:
        self.evidence = settings.evidence
        self.needed = settings.needed
        self.parts = parts
        self.point = settings.evidence[0].point
        self.found: list[Edges] = []

    def reach(self) -> Mapping[str, int]:
        """The longest window of each point."""
        reach: dict[str, int] = {}
        for item in self.evidence:
            reach[item.point] = max(reach.get(item.point, 0), item.window or 0)
        return reach

    def judge(self, truths: Sequence[int]) -> int:
        """True iff T >= min(needed, K); unknown where no positive evidence is known."""
        known = weight = 0
        for item, truth in zip(self.evidence, truths, strict=True):
            if truth != UNKNOWN and item.weight > 0:
                known += item.weight
            if truth == TRUE:
                weight += item.weight
        if known == 0:
            return UNKNOWN
        return TRUE if weight >= min(self.needed, known) else FALSE

    def edges(self, view: View) -> dict[str, Judged]:
        """side -> its edges in this step."""
        pairs = zip(self.evidence, self.parts, strict=True)
        self.found = found = [part.edges(view.spans[item.point], view) for item, part in pairs]
        stopped = combine(found, self.judge)
        silent = [view.spans[item.point].silent for item in self.evidence if item.weight > 0]
        blind = combine(silent, lambda truths: TRUE if all(t == TRUE for t in truths) else FALSE)
        return {"stopped": Judged(stopped, negated(stopped)), "blind": Judged(blind, negated(blind))}

    def why(self, side: str, key: int) -> str:
        """The evidence that speaks for it, what speaks against it, and whether less is known than is needed."""
        if side == "blind":
            return "no evidence is left: " + ", ".join(item.point for item in self.evidence if item.weight > 0)
        truths = [truth_at(part, key) for part in self.found]
        told = list(zip(self.evidence, truths, strict=True))
        words = ", ".join(item.words() for item, truth in told if truth == TRUE and item.weight > 0)
        against = ", ".join(item.words() for item, truth in told if truth == TRUE and item.weight < 0)
        known = sum(item.weight for item, truth in told if item.weight > 0 and truth != UNKNOWN)
        text = words or "evidence no longer speaks for it"
        if against:
            text += f"; against it: {against}"
        if known < self.needed:
            missing = ", ".join(item.point for item, truth in told if item.weight > 0 and truth == UNKNOWN)
            text += f"; evidence is reduced: nothing known of {missing}"
        return text

    def next_due(self, running: Running) -> int | None:
        """When evidence that must last has lasted."""
        due = [at for part in self.parts if (at := part.next_due(running)) is not None]
        return min(due) if due else None

    def state(self) -> list[Any]:
        """Each piece's last truth and waiting."""
        return [part.state() for part in self.parts]

    def load(self, state: list[Any]) -> None:
        """Take up what `state` gave."""
        for part, saved in zip(self.parts, state, strict=True):
            part.load(saved)
