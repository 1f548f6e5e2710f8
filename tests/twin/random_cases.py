"""Which series are likely to tell two engines apart? Values at the limits, ties in time, gaps, and cuts anywhere."""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from rules.acts import Act, ActKind
from rules.conditions import KINDS
from rules.flags import Flag
from rules.plan import Plan, PointPlan
from rules.settings import Priority, RuleSettings
from rules.stages import Action, StageSettings
from tests.twin.case import Case, Sent, Step

BEAT = 60_000
"""Nearly everything happens at whole beats (ms), so that instants coincide."""

SIMPLE_KINDS = (
    *("band", "band", "rate", "rate", "stopped", "stopped", "silent"),
    *("flat", "ahead", "spread", "cycle", "cycle", "overdue"),
)
COMPOSITE_KINDS = ("all_of", "any_of", "at_least", "not")

ACTS = (
    *(ActKind.ACKNOWLEDGE,) * 5,
    *(ActKind.RESET,) * 2,
    *(ActKind.SHELVE, ActKind.SHELVE, ActKind.UNSHELVE),
    *(ActKind.OUT_OF_SERVICE, ActKind.IN_SERVICE, ActKind.IN_SERVICE),
    *(ActKind.NOTE, ActKind.NOTE, ActKind.OFF, ActKind.OFF),
    *(ActKind.MUTE, ActKind.DRILL, ActKind.AWAY, ActKind.CALIBRATE),
)
ORDERS = (ActKind.MUTE, ActKind.DRILL, ActKind.AWAY)
"""Acts that say who is told what, and change no alarm."""

# quantity, unit, another unit of it, resolution, a count about which everything lies
MEASURED: tuple[tuple[str, str, str, str, int], ...] = (
    ("water_temperature", "degC", "degF", "0.001", 26000),
    ("water_temperature", "degF", "degC", "0.1", 800),
    ("air_temperature", "degC", "K", "0.5", 0),
    ("level", "mm", "in", "0.1", 1800),
    ("flow", "L/min", "gal/min", "0.01", 5),
    ("relative_humidity", "%", "1", "0.1", 600),
    ("dissolved_oxygen", "mg/L", "g/m3", "0.25", 24),
)

# Instants near which clocks change or a day, month or year begins; UTC.
MOMENTS = (
    "2026-03-29T01:00:00",
    "2026-10-25T01:00:00",
    "2026-11-01T06:00:00",
    "2026-04-04T15:00:00",
    "2025-12-31T23:30:00",
    "2026-02-28T23:50:00",
    "2026-06-10T12:00:00",
)
TIMEZONES = ("Europe/Dublin", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "UTC")


def random_case(rng: random.Random, *, late: bool = False, long: bool = False) -> Case:
    """A plan and what it is fed with.

    late: some readings and acts come behind the frontier; long: a thousand readings and more, as what columns gain
    from many readings must not change what is said.
    """
    maker = _Maker(rng, long=long)
    plan = maker.plan()
    return maker.deliver(plan, late=late)


@dataclass(frozen=True)
class _Measured:
    """One point of a random plan, with the count about which its values and limits lie."""

    plan: PointPlan
    other_unit: str
    about: int

    def text(self, counts: Fraction | int) -> str:
        """Counts as a decimal number in the point's unit."""
        return str(float(counts * self.plan.resolution))


class _Maker:
    """Draws everything from one source of chance."""

    def __init__(self, rng: random.Random, *, long: bool) -> None:
        self.rng = rng
        self.long = long
        self.timezone = rng.choice(TIMEZONES)
        moment = dt.datetime.fromisoformat(rng.choice(MOMENTS)).replace(tzinfo=dt.UTC)
        self.start = int(moment.timestamp()) * 1000 - rng.randrange(0, 20) * BEAT
        self.points = [self._point(name) for name in ("a", "b", "c")[: rng.choice((1, 1, 2) if long else (1, 1, 2, 3))]]

    # --- the plan

    def plan(self) -> Plan:
        """Points, rules and stages."""
        rules: list[RuleSettings] = []
        for index in range(self.rng.choice((1, 1, 2) if self.long else (1, 1, 2, 3, 5))):
            kind = self.rng.choice(SIMPLE_KINDS if index == 0 or self.rng.random() < 0.7 else COMPOSITE_KINDS)
            made = getattr(self, f"_{kind}")
            own = made([rule.id for rule in rules]) if kind in COMPOSITE_KINDS else made()
            written = {"id": f"r{index}", "kind": kind, **self._shared([rule.id for rule in rules]), **own}
            rules.append(KINDS[kind].model_validate(written))
        rules = self._explained(self.rng.sample(rules, k=len(rules)))
        stages = [
            self._stage(index, [rule.id for rule in rules]) for index in range(self.rng.choice((0, 0, 0, 1, 2, 3)))
        ]
        return Plan(
            name="random",
            timezone=self.timezone,
            points=tuple(measured.plan for measured in self.points),
            rules=tuple(rules),
            stages=tuple(stages),
            settle=self.rng.choice((0, 1, 1000, BEAT, 3 * BEAT)),
        )

    def _point(self, name: str) -> _Measured:
        quantity, unit, other, resolution, about = self.rng.choice(MEASURED)
        stale_after = self.rng.choice((1, 2, 3, 4, 5)) * BEAT
        accept = self.rng.random() < 0.2
        plan = PointPlan(name, quantity, unit, Fraction(resolution), BEAT, stale_after, accept)
        return _Measured(plan, other, about)

    def _shared(self, others: list[str]) -> dict[str, Any]:
        """What every kind has; a rule looks only at those made before it, so that there are no rings."""
        out: dict[str, Any] = {
            "priority": self.rng.choice(list(Priority)),
            "on_delay": self._beats(0, 0, 1, 2, 3),
            "off_delay": self._beats(0, 0, 1, 2, 3),
            "latch": self.rng.random() < 0.15,
        }
        if out["priority"] is not Priority.LOG and self.rng.random() < 0.15:
            loud = [priority for priority in Priority if priority is not Priority.LOG]
            sides = self.rng.sample(("high", "low", "rise", "fall", "period", "full", "empty"), 4)
            out["sides"] = {side: {"priority": self.rng.choice(loud)} for side in sides}
        if others and self.rng.random() < 0.15:
            out["while"] = self.rng.choice(others)
        if self.rng.random() < 0.1:
            out["during"] = self._timed_span()
        if self.rng.random() < 0.1:
            out |= {"since_note": "fed", "within": self._beats(1, 3, 8)}
        return out

    def _explained(self, rules: list[RuleSettings]) -> list[RuleSettings]:
        """Some rules explain others, in rings too; some are suppressed while another's condition is true."""
        out = []
        for rule in rules:
            others = [other.id for other in rules if other.id != rule.id and self.rng.random() < 0.4]
            update: dict[str, Any] = {"never_suppressed": self.rng.random() < 0.1}
            if self.rng.random() < 0.4:
                update |= {"explains": tuple(others), "after": self.rng.choice((0, 0, 1, 3)) * BEAT}
            if others and self.rng.random() < 0.3:
                update["suppressed_while"] = self.rng.choice(others)
            out.append(rule.model_copy(update=update))
        return out

    def _band(self) -> dict[str, Any]:
        measured = self.rng.choice(self.points)
        sides = self.rng.choice(("high", "low", "both"))
        out: dict[str, Any] = {"point": measured.plan.id, "deadband": self._span(measured)}
        if sides != "low":
            out["high"] = self._limit(measured)
        if sides != "high":
            out["low"] = self._limit(measured)
        if self.rng.random() < 0.4:
            out["limits"] = [self._timed(measured) for _ in range(self.rng.choice((1, 1, 2)))]
            if self.rng.random() < 0.3:
                for side in ("high", "low"):
                    if any(side in entry for entry in out["limits"]):
                        out.pop(side, None)
        return out

    def _timed(self, measured: _Measured) -> dict[str, Any]:
        out: dict[str, Any] = {}
        for side in self.rng.choice((("high",), ("low",), ("high", "low"))):
            out[side] = self._limit(measured)
        return out | self._timed_span()

    def _timed_span(self) -> dict[str, str]:
        """Hours that begin and end near the series, and days about its own; either may be left out."""
        out: dict[str, str] = {}
        if self.rng.random() < 0.8:
            begin, end = (self._local(self.rng.randrange(-5, 40)) for _ in range(2))
            if f"{begin:%H:%M}" != f"{end:%H:%M}":
                out["hours"] = f"{begin:%H:%M}-{end:%H:%M}"
        if self.rng.random() < 0.4:
            first, last = (self._local(self.rng.choice((-1440, 0, 0, 1440))) for _ in range(2))
            out["season"] = f"{first:%m-%d}..{last:%m-%d}"
        return out

    def _rate(self) -> dict[str, Any]:
        measured = self.rng.choice(self.points)
        out: dict[str, Any] = {
            "point": measured.plan.id,
            "window": self._beats(1, 2, 3, 4, 6),
            "min_readings": self.rng.choice((2, 2, 3, 4)),
        }
        for side in self.rng.choice((("rise",), ("fall",), ("rise", "fall"))):
            out[side] = self._per_minute(measured)
        if self.rng.random() < 0.5:
            out["deadband"] = self._per_minute(measured)
        if self.rng.random() < 0.5:
            out["min_span"] = self._beats(0, 1, 2)
        return out

    def _silent(self) -> dict[str, Any]:
        return {"point": self.rng.choice(self.points).plan.id}

    def _overdue(self) -> dict[str, Any]:
        out: dict[str, Any] = {
            "note": self.rng.choice(("fed", "seen", "calibration", "calibration a")),
            "every": self._beats(1, 3, 5, 9),
        }
        if self.rng.random() < 0.5:
            out["point"] = self.rng.choice(self.points).plan.id
        return out

    def _flat(self) -> dict[str, Any]:
        measured = self.rng.choice(self.points)
        return {"point": measured.plan.id, "tolerance": self._span(measured), "window": self._beats(1, 2, 3, 4)}

    def _ahead(self) -> dict[str, Any]:
        measured = self.rng.choice(self.points)
        out: dict[str, Any] = {
            "point": measured.plan.id,
            "window": self._beats(1, 2, 3, 4, 6),
            "horizon": self._beats(1, 2, 3),
            "min_readings": self.rng.choice((2, 2, 3, 4)),
            "deadband": self._span(measured),
        }
        for side in self.rng.choice((("high",), ("low",), ("high", "low"))):
            out[side] = self._limit(measured)
        return out

    def _spread(self) -> dict[str, Any]:
        """Points of one dimension; where there are no two such, one point with itself."""
        measured = self.rng.choice(self.points)
        dimension = measured.plan.units.dimension
        alike = [other.plan.id for other in self.points if other.plan.units.dimension == dimension]
        return {
            "points": self.rng.sample(alike, k=len(alike)) if len(alike) > 1 else [alike[0], alike[0]],
            "span": self._span(measured),
            "deadband": self._span(measured),
            "too_close": self.rng.random() < 0.3,
        }

    def _cycle(self) -> dict[str, Any]:
        measured = self.rng.choice(self.points)
        low = measured.about - self.rng.choice((0, 1, 2))
        out: dict[str, Any] = {
            "point": measured.plan.id,
            "low": measured.text(low),
            "high": measured.text(low + self.rng.choice((1, 1, 2, 3))),
        }
        cases = [case for case in ("shortest", "longest", "full", "empty") if self.rng.random() < 0.5]
        for case in cases or ["longest"]:
            out[case] = f"{self.rng.choice((1, 2, 3) if case != 'longest' else (4, 5, 7)) * BEAT} ms"
        return out

    def _all_of(self, others: list[str]) -> dict[str, Any]:
        return {"rules": self.rng.sample(others, k=self.rng.randrange(1, len(others) + 1))}

    def _any_of(self, others: list[str]) -> dict[str, Any]:
        return self._all_of(others)

    def _at_least(self, others: list[str]) -> dict[str, Any]:
        rules = self._all_of(others)["rules"]
        return {"rules": rules, "n": self.rng.randrange(1, len(rules) + 1)}

    def _not(self, others: list[str]) -> dict[str, Any]:
        return {"rule": self.rng.choice(others)}

    def _stopped(self) -> dict[str, Any]:
        evidence = [self._evidence() for _ in range(self.rng.choice((1, 2, 2, 3, 4)))]
        evidence[self.rng.randrange(len(evidence))]["weight"] = self.rng.choice((1, 2))
        return {"evidence": evidence, "needed": self.rng.choice((1, 1, 2, 3))}

    def _evidence(self) -> dict[str, Any]:
        measured = self.rng.choice(self.points)
        says = self.rng.choice(("under", "over", "still", "moved", "falling", "rising"))
        out: dict[str, Any] = {
            "point": measured.plan.id,
            "weight": self.rng.choice((1, 1, 1, 2, -1, -1, -2)),
            "lasting": self._beats(0, 0, 1, 2),
        }
        if says in ("under", "over"):
            out[says] = self._limit(measured)
            return out
        out["window"] = self._beats(1, 2, 3, 4)
        out[says] = self._span(measured) if says in ("still", "moved") else self._per_minute(measured)
        if says in ("falling", "rising"):
            out["min_readings"] = self.rng.choice((2, 3, 4))
        return out

    def _stage(self, index: int, rules: list[str]) -> StageSettings:
        measured = self.rng.choice(self.points)
        side = self.rng.choice(("high", "high", "low"))
        on = measured.about + self.rng.randrange(-2, 3)
        back = self.rng.choice((0, 1, 2))
        written: dict[str, Any] = {
            "id": f"s{index}",
            "action": self.rng.choice(list(Action)),
            "point": measured.plan.id,
            "side": side,
            "on": measured.text(on),
            "off": measured.text(on - back if side == "high" else on + back),
            "min_on": self._beats(0, 0, 1, 2, 4),
            "min_off": self._beats(0, 0, 1, 2, 4),
            "step_delay": self._beats(0, 0, 1, 2),
            "safe": self.rng.choice(("on", "off", "off")),
        }
        if index and self.rng.random() < 0.3:
            written["follows"] = f"s{self.rng.randrange(index)}"
        if self.rng.random() < 0.3:
            written["only_if"] = self.rng.sample(rules, k=self.rng.choice((1, min(2, len(rules)))))
        return StageSettings.model_validate(written)

    def _beats(self, *choices: int) -> str:
        """A duration of whole beats, now and then a millisecond more."""
        length = self.rng.choice(choices) * BEAT
        return f"{length + (1 if self.rng.random() < 0.05 else 0)} ms"

    def _limit(self, measured: _Measured) -> str:
        """Near the point's values: at a count, between two, or in another unit."""
        counts: Fraction | int = measured.about + self.rng.randrange(-2, 3)
        chance = self.rng.random()
        if chance < 0.2:
            counts += Fraction(1, 2)
        if chance > 0.85 and measured.other_unit == "degF":
            return f"{float(counts * measured.plan.resolution) * 1.8 + 32:.4f} degF"
        if chance > 0.85 and measured.other_unit == "K":
            return f"{float(counts * measured.plan.resolution) + 273.15:.2f} K"
        return measured.text(counts)

    def _span(self, measured: _Measured) -> str:
        """A difference of a few counts, in the point's unit or another."""
        counts = self.rng.choice((0, 0, 1, 2, 3, Fraction(1, 2)))
        if self.rng.random() < 0.1:
            return f"{self.rng.choice((0, 0.1, 1))} {measured.other_unit}"
        return measured.text(counts)

    def _per_minute(self, measured: _Measured) -> str:
        """So many counts a beat."""
        return f"{measured.text(self.rng.choice((0, 1, 1, 2, Fraction(1, 2))))} {measured.plan.unit}/min"

    def _local(self, beats: int) -> dt.datetime:
        return dt.datetime.fromtimestamp((self.start + beats * BEAT) // 1000, tz=ZoneInfo(self.timezone))

    # --- what it is fed with

    def deliver(self, plan: Plan, *, late: bool) -> Case:
        """Readings and acts, each in some step before the frontier passes it (unless it is late), and their repeats."""
        readings = [reading for measured in self.points for reading in self._series(measured)]
        acts = self._acts(plan)
        last = max([self.start, *(reading.time for reading in readings), *(act.time for act in acts)])
        steps = self._steps(plan, last + self.rng.choice((0, 1, 3, 8)) * BEAT + plan.settle)
        frontiers = _frontiers(steps, self.start, plan.settle)
        given: list[list[Sent]] = [[] for _ in steps]
        for reading in sorted(readings, key=lambda reading: reading.time):
            step = self._step_for(reading.time, frontiers, late=late)
            given[step].append(reading)
            if self.rng.random() < 0.08:
                again = reading if self.rng.random() < 0.5 else reading._replace(counts=reading.counts + 1)
                given[self.rng.randrange(step, len(steps))].append(again)
        done: list[list[Act]] = [[] for _ in steps]
        for act in acts:
            done[self._step_for(act.time, frontiers, late=late)].append(act)
        filled = (
            replace(step, readings=tuple(read), acts=tuple(acted))
            for step, read, acted in zip(steps, given, done, strict=True)
        )
        return Case(plan, self.start, tuple(filled))

    def _series(self, measured: _Measured) -> list[Sent]:
        """Stretches of noise about the limits, of ramps and of standstill, with gaps and unusable readings."""
        rng = self.rng
        out: list[Sent] = []
        often = 0.01 if self.long else 0.3
        gaps, unusable, jitter = rng.choice((0.0, 0.05, often)), rng.choice((0.0, 0.05, often)), rng.choice((0.0, 0.1))
        if self.long:
            gaps, unusable = gaps * rng.choice((0.0, 0.1)), unusable * rng.choice((0.0, 0.1))
        t = self.start + rng.choice((0, 0, 1, 2, 6)) * BEAT
        counts = measured.about
        for _ in range(rng.choice((3, 4, 6) if self.long else (0, 1, 2, 3, 4))):
            stretch, slope = rng.choice(("noise", "ramp", "ramp", "still")), rng.choice((-2, -1, 1, 2))
            length = rng.randrange(1, 10)
            if self.long and rng.random() < 0.5:
                stretch, length = rng.choice(("noise", "tide", "tide", "still")), rng.randrange(150, 500)
            period = rng.choice((3, 4, 5, 6))
            for beat in range(length):
                if stretch == "tide":
                    counts = measured.about - 3 + 6 * (beat % period) // (period - 1)
                elif stretch == "noise":
                    counts = measured.about + rng.randrange(-3, 4)
                elif stretch == "ramp":
                    counts += slope
                flag = rng.choice((3, 4, 9)) if rng.random() < unusable else rng.choice((1, 2, 2))
                out.append(Sent(measured.plan.id, t, 0 if flag == Flag.MISSING else counts, flag))
                t += (rng.choice((2, 2, 3, 5)) if rng.random() < gaps else 1) * BEAT
                if rng.random() < jitter:
                    t += rng.choice((-1, 1, -BEAT // 2, BEAT // 2))
            if stretch == "ramp":
                counts = measured.about
        return out

    def _acts(self, plan: Plan) -> list[Act]:
        rng = self.rng
        out: list[Act] = []
        for _ in range(rng.choice((0, 0, 1, 2, 4, 8))):
            t = self.start + rng.randrange(0, 25) * BEAT
            until = t + rng.choice((1, 2, 3, 5, 9)) * BEAT
            kind = rng.choice(ACTS)
            if kind is ActKind.OFF:
                out.append(Act(t, kind, who="tidebed", until=until))
            elif kind is ActKind.NOTE:
                out.append(Act(t, kind, data={"kind": rng.choice(("fed", "fed", "seen"))}))
            elif kind is ActKind.CALIBRATE:
                out.append(Act(t, kind, data={"point": rng.choice(plan.points).id}))
            elif kind in ORDERS:
                out.append(Act(t, kind, until=until, data={"rules": rng.choice(plan.rules).id}))
            else:
                rule = rng.choice((None, *(rule.id for rule in plan.rules)))
                side = rng.choice((None, None, None, "high", "low", "stopped", "blind"))
                out.append(Act(t, kind, rule=rule, side=side, until=until if kind is ActKind.SHELVE else None))
        return out

    def _steps(self, plan: Plan, end: int) -> list[Step]:
        """Empty steps up to `end`; now and then the clock stands or goes back."""
        now = self.start + plan.settle
        steps: list[Step] = []
        beats = self.rng.choice((60, 300, 1500) if self.long else (1, 1, 2, 5, 30))
        while now < end:
            steps.append(Step(now - (self.rng.choice((1, BEAT)) if self.rng.random() < 0.1 else 0)))
            now += self.rng.choice((0, 1, BEAT // 2, BEAT, BEAT, BEAT)) * beats
        return [*steps, Step(end)]

    def _step_for(self, time: int, frontiers: list[int], *, late: bool) -> int:
        """A step whose frontier before it is below `time`, mostly the last such; late: any after it."""
        last = max(index for index, frontier in enumerate(frontiers) if frontier < time or index == 0)
        if late and self.rng.random() < 0.2:
            return self.rng.randrange(last, len(frontiers))
        return max(0, last - self.rng.choice((0, 0, 0, 1, 3)))


def _frontiers(steps: list[Step], start: int, settle: int) -> list[int]:
    """The frontier before each step."""
    out = [start - 1]
    for step in steps[:-1]:
        out.append(max(out[-1], step.now - settle))
    return out
