"""What does a message say? What is wrong, since when, how long there is, what to do first; fit for a lock screen."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from typing import Protocol

from rules.alarms import Alarm
from rules.durations import DAY
from rules.local_time import Zone
from rules.plan import Plan, PointPlan
from rules.settings import RuleSettings, Runway
from rules.showing import fitted, show, show_left
from rules.units import parse_amount, parse_rate

TITLE_SIZE = 60
BODY_SIZE = 240

_PLACE = re.compile(r"\{([a-z0-9_.]+)\}")


class Facts(Protocol):
    """What the engine knows at an instant (a key)."""

    def value_at(self, point: str, key: int) -> int | None:
        """Counts held at the instant."""

    def slope_at(self, point: str, key: int, window: int) -> Fraction | None:
        """Counts per ms over the window that ends at the instant; None where it is not known."""


class Writer:
    """Writes the texts of one plan."""

    def __init__(self, plan: Plan, points: Mapping[str, PointPlan], zone: Zone, facts: Facts) -> None:
        """points: all of the plan's, derived ones included."""
        self.plan, self.points, self.zone, self.facts = plan, points, zone, facts

    def called(self, point: str) -> str:
        """What people call a point."""
        return self.points[point].name or point

    def value(self, point: str, key: int) -> str:
        """A point's value at an instant, as shown to people."""
        counts = self.facts.value_at(point, key)
        return "no reading" if counts is None else show(self.plan, self.points[point], counts)

    def clock(self, ms: int, now: int) -> str:
        """A local time of day; with the day where it is not today's."""
        moment, today = self.zone.moment(ms), self.zone.moment(now)
        return f"{moment:%H:%M}" if now - ms < DAY / 2 or moment.date() == today.date() else f"{moment:%a %H:%M}"

    def filled(self, template: str, point: str, key: int) -> str:
        """The template with `{value}` and `{some.point}` filled in; an unknown name is left as it stands."""

        def fill(match: re.Match[str]) -> str:
            name = match.group(1)
            if name == "value":
                return self.value(point, key)
            return self.value(name, key) if name in self.points else match.group(0)

        return _PLACE.sub(fill, template)

    def called_rule(self, rule: RuleSettings) -> str:
        """What people call a rule's alarm: its title without numbers."""
        title = rule.title or rule.id
        return title.partition("{")[0].rpartition(":")[0].strip() or title if "{" in title else title

    def title(self, rule: RuleSettings, alarm: Alarm, point: str, key: int) -> str:
        """At most 60 characters: what is wrong."""
        called = self.called(point)
        if rule.title is not None and alarm.side not in ("blind", "fault"):
            text = self.filled(rule.title, point, key)
        elif alarm.side == "blind":
            text = f"Nothing watches the water: {called} is silent"
        elif alarm.side == "silent":
            text = f"{called} sends nothing"
        elif alarm.side == "fault":
            text = f"Rule {rule.id} failed and watches nothing"
        elif alarm.side in ("high", "low"):
            text = f"{called} {'too high' if alarm.side == 'high' else 'too low'}: {self.value(point, key)}"
        elif alarm.side in ("rise", "fall"):
            text = f"{called} {'rises' if alarm.side == 'rise' else 'falls'} fast: {self.value(point, key)}"
        else:
            text = f"{rule.id}: {alarm.side}"
        return fitted(text, TITLE_SIZE)

    def left(self, runway: Runway, alarm: Alarm, key: int) -> tuple[str, int] | None:
        """A sentence that says how long there is, and that span in ms; None where it cannot be told."""
        point = self.points[runway.point]
        counts = self.facts.value_at(runway.point, key)
        if counts is None:
            return None
        limit = parse_amount(runway.limit, point.units) / point.resolution
        gap = limit - counts
        slope: Fraction | None = None
        stood = (key >> 1) - alarm.since
        if runway.loss is None or stood >= runway.window:
            slope = self.facts.slope_at(runway.point, key, runway.window)
        if slope is None and runway.loss is not None:
            loss = parse_rate(runway.loss, point.units) / point.resolution
            slope = loss if gap > 0 else -loss
        if slope is None or slope * gap <= 0:
            return None
        span = int(gap / slope)
        if span > 7 * DAY:
            return None
        harm = f", where {runway.harm}" if runway.harm else ""
        return f"{self.called(runway.point)} {show(self.plan, point, counts)}: {show_left(span)} to " + (
            f"{show(self.plan, point, limit)}{harm}."
        ), span

    def body(self, rule: RuleSettings, alarm: Alarm, point: str, key: int, cause: str = "") -> str:
        """At most 240 characters: the numbers, since when, how long there is, what to do first."""
        now = key >> 1
        says = self.filled(rule.says, point, key) if rule.says else f"{self.called(point)} {self.value(point, key)}"
        parts = [f"{says} since {self.clock(alarm.since, now)}."]
        if cause:
            parts.append(f"Cause: {cause}.")
        if rule.runway is not None and (left := self.left(rule.runway, alarm, key)) is not None:
            parts.append(left[0])
        if rule.do:
            first = f"First: {self.filled(rule.do, point, key)}"
            # What to do first is never left out; the sentences before it give way.
            room = BODY_SIZE - min(len(first), BODY_SIZE // 2) - 1
            parts = [fitted(" ".join(parts), room)]
            parts.append(fitted(first, BODY_SIZE - len(parts[0]) - 1))
        return fitted(" ".join(parts), BODY_SIZE)

    def over(self, rule: RuleSettings, alarm: Alarm, point: str, key: int) -> tuple[str, str]:
        """Title and body of the message that it is over."""
        now = key >> 1
        told = self.called_rule(rule) if rule.title else self.title(rule, alarm, point, key).partition(": ")[0]
        title = fitted(f"Over: {told}", TITLE_SIZE)
        lasted = show_left(max(now - alarm.since, 60_000)).removeprefix("about ")
        body = (
            f"Back to normal at {self.clock(now, now)} after {lasted}. {self.called(point)} {self.value(point, key)}."
        )
        return title, fitted(body, BODY_SIZE)
