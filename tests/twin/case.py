"""What is one series that both engines are fed with, and how is it read by a person?"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from rules.acts import Act
from rules.block import Block, block
from rules.flags import Flag
from rules.plan import Plan


class Sent(NamedTuple):
    """A reading as an adapter hands it over."""

    point: str
    time: int
    counts: int
    flag: int = Flag.NOT_EVALUATED


@dataclass(frozen=True)
class Step:
    """What one step of the engine is given; the readings in the order in which they came."""

    now: int
    readings: tuple[Sent, ...] = ()
    acts: tuple[Act, ...] = ()

    def blocks(self) -> list[Block]:
        """The readings as blocks: a new one wherever the point changes."""
        return [
            _block(point, list(readings))
            for point, readings in itertools.groupby(self.readings, key=lambda reading: reading.point)
        ]


@dataclass(frozen=True)
class Case:
    """A plan, the first instant, and the steps."""

    plan: Plan
    start: int
    steps: tuple[Step, ...] = field(default=())

    def in_one_step(self) -> Case:
        """The same readings and acts in the same order, as one block a point and one step."""
        readings = [reading for step in self.steps for reading in step.readings]
        whole = Step(
            now=max((step.now for step in self.steps), default=self.start),
            readings=tuple(sorted(readings, key=lambda reading: reading.point)),
            acts=tuple(act for step in self.steps for act in step.acts),
        )
        return Case(self.plan, self.start, (whole,))

    def show(self) -> str:
        """Plan and steps as text, times in ms from the start."""
        lines = [f"start {self.start}, settle {self.plan.settle} ms, {self.plan.timezone}"]
        for point in self.plan.points:
            suspect = ", suspect accepted" if point.accept_suspect else ""
            lines.append(
                f"point {point.id}: {point.resolution} {point.unit}, stale after {point.stale_after} ms{suspect}"
            )
        lines += [f"rule {_set(rule)}" for rule in self.plan.rules]
        lines += [f"stage {_set(stage)}" for stage in self.plan.stages]
        for step in self.steps:
            lines.append(f"step now={step.now - self.start} (judges up to {step.now - self.plan.settle - self.start})")
            lines += [f"  {r.point} at {r.time - self.start}: {r.counts} flag {r.flag}" for r in step.readings]
            lines += [f"  act {self._show_act(act)}" for act in step.acts]
        return "\n".join(lines)

    def _show_act(self, act: Act) -> str:
        until = "" if act.until is None else f" until {act.until - self.start}"
        about = "" if act.rule is None and act.side is None else f" {act.rule}/{act.side}"
        more = f" {act.text!r} {dict(act.data)}" if act.text or act.data else ""
        return f"{act.kind} at {act.time - self.start}{until}{about}{more}"


def _block(point: str, readings: list[Sent]) -> Block:
    return block(point, [r.time for r in readings], [r.counts for r in readings], [r.flag for r in readings])


def _set(settings: Any) -> dict[str, Any]:
    """What is set in a settings object, without the defaults."""
    shown: dict[str, Any] = settings.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    return shown
