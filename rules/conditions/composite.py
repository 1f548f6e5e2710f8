"""When do several rules together mean something? Kleene logic over their conditions, without their delays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from pydantic import Field, model_validator

from rules.edges import FALSE, TRUE, UNKNOWN, Edges, Judged, combine, negated, truth_at
from rules.running import Running
from rules.settings import RuleSettings
from rules.view import Surroundings, View


class AllOfSettings(RuleSettings):
    """Every one of `rules` is true."""

    kind: Literal["all_of"]
    rules: tuple[str, ...] = Field(min_length=1)

    def build(self, around: Surroundings) -> Composite:
        """The condition."""
        return Composite("all_of", self.rules, len(self.rules))


class AnyOfSettings(RuleSettings):
    """One or more of `rules` are true."""

    kind: Literal["any_of"]
    rules: tuple[str, ...] = Field(min_length=1)

    def build(self, around: Surroundings) -> Composite:
        """The condition."""
        return Composite("any_of", self.rules, 1)


class AtLeastSettings(RuleSettings):
    """`n` or more of `rules` are true."""

    kind: Literal["at_least"]
    rules: tuple[str, ...] = Field(min_length=1)
    n: int = Field(ge=1)

    @model_validator(mode="after")
    def _enough_rules(self) -> AtLeastSettings:
        if self.n > len(self.rules):
            raise ValueError(f"n = {self.n} can never be true of {len(self.rules)} rules")
        return self

    def build(self, around: Surroundings) -> Composite:
        """The condition."""
        return Composite("at_least", self.rules, self.n)


class NotSettings(RuleSettings):
    """`rule` is false; unknown stays unknown."""

    kind: Literal["not"]
    rule: str

    def build(self, around: Surroundings) -> Composite:
        """The condition."""
        return Composite("not", (self.rule,), 1, negate=True)


class Composite:
    """The compiled condition: true where `n` of the rules are, false where they cannot be, else unknown."""

    def __init__(self, kind: str, rules: tuple[str, ...], n: int, *, negate: bool = False) -> None:
        self.rests_on, self.n, self.negate = rules, n, negate
        self.sides = (kind,)
        self.point = ""
        self.found: list[Edges] = []

    def reach(self) -> Mapping[str, int]:
        """No point of its own."""
        return {}

    def judge(self, truths: Sequence[int]) -> int:
        """Kleene's `at least n`."""
        true = sum(truth == TRUE for truth in truths)
        if true >= self.n:
            return TRUE
        return UNKNOWN if true + sum(truth == UNKNOWN for truth in truths) >= self.n else FALSE

    def edges(self, view: View) -> dict[str, Judged]:
        """side -> its edges in this step."""
        self.found = [view.conditions[rule] for rule in self.rests_on]
        edges = combine(self.found, self.judge)
        if self.negate:
            edges = negated(edges)
        return {self.sides[0]: Judged(edges, negated(edges))}

    def why(self, side: str, key: int) -> str:
        """Which of the rules are true."""
        true = [rule for rule, part in zip(self.rests_on, self.found, strict=True) if truth_at(part, key) == TRUE]
        return f"{self.rests_on[0]} is not" if self.negate else " and ".join(true)

    def next_due(self, running: Running) -> int | None:
        """Nothing waits."""
        return None

    def state(self) -> None:
        """Nothing: the rules themselves know."""

    def load(self, state: None) -> None:
        """Take up nothing."""
