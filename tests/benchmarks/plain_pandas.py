"""What do the rules of the made-up year say, written plainly in pandas? And do its alarms begin when the engine's do?

Every kind among the rules is written as a competent analyst would: whole series at a time, boolean series and shift for
runs, rolling windows by time for slopes and ranges, concat and ffill for several points, forward fill of marks for
deadbands and cycles, and a loop over the few runs that were found for delays and returns.

Covered: both sides of `band` with deadband and on-delay, `rate` and `ahead` with their least readings and span,
`cycle` (period too long or overdue, full, empty), `stopped` with contrary evidence, `flat`, `spread`, `silent`, and
`all_of`, `any_of`, `at_least`, `not` over the others' conditions with their deadbands. Left out, in pandas' favour:
exact numbers, unknown (the year has no silences, so nothing but `silent` looks for them), limits by hour and season,
off-delays, the states of alarms and their acts, suppression, messages, and that a day may come in parts.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd  # type: ignore[import-untyped]  # the library has no type information
from numpy.typing import NDArray

from rules.plan import PointPlan

Onsets = dict[tuple[str, str], list[int]]
"""(rule, side) -> when its alarms begin, ms."""
Series = Any


class PlainPandas:
    """One run over all rules."""

    def __init__(self, points: list[PointPlan], times: NDArray[np.int64], columns: Mapping[str, Any]) -> None:
        self.index = pd.to_datetime(times, unit="ms")
        self.points = {
            p.id: pd.Series(columns[p.id] / (p.resolution.denominator / p.resolution.numerator), index=self.index)
            for p in points
        }
        self.stale = {p.id: pd.Timedelta(milliseconds=p.stale_after) for p in points}
        self.minutes = pd.Series((times - times[0]) / 60_000, index=self.index)
        self.conditions: dict[str, Series] = {}
        """rule -> bool at each instant, as other rules see it."""
        self.onsets: Onsets = {}

    def judge(self, rules: list[dict[str, Any]]) -> Onsets:
        """The beginnings of all alarms."""
        for rule in rules:
            getattr(self, f"_{rule['kind']}")(rule)
        return self.onsets

    def _alarms(self, rule: Mapping[str, Any], side: str, condition: Series, clear: Series, delay: str = "0s") -> None:
        """Runs of the condition that last for the delay, unless an alarm before them has not returned yet."""
        run = (condition != condition.shift()).cumsum()
        stamps = condition.index.to_series()
        begins = stamps[condition].groupby(run[condition]).first()
        after = stamps.shift(-1)[condition].groupby(run[condition]).last()
        clears = condition.index[clear]
        wait = pd.Timedelta(delay)
        found = self.onsets.setdefault((rule["id"], side), [])
        free = pd.Timestamp.min
        # The last run has no end; a reading back in the instant that the delay ends is in time.
        lasting = after.isna() | (after - begins > wait)
        for due in begins[lasting] + wait:
            if due - wait < free:
                continue
            found.append(due.value // 1_000_000)
            position = clears.searchsorted(due, side="right")
            free = clears[position] if position < len(clears) else pd.Timestamp.max

    def _latched(self, condition: Series, clear: Series) -> Series:
        """True from the condition until its return."""
        state = pd.Series(np.nan, index=condition.index)
        state[clear] = 0.0
        state[condition] = 1.0
        return state.ffill() == 1.0

    def _band(self, rule: Mapping[str, Any]) -> None:
        series = self.points[rule["point"]]
        back = float(rule.get("deadband", 0))
        seen = pd.Series(False, index=series.index)
        for side in ("high", "low"):
            if side not in rule:
                continue
            limit = float(rule[side])
            if side == "high":
                condition, clear = series > limit, series <= limit - back
            else:
                condition, clear = series < limit, series >= limit + back
            self._alarms(rule, side, condition, clear, rule.get("on_delay", "0s"))
            seen |= self._latched(condition, clear)
        self.conditions[rule["id"]] = seen

    def _slope(self, rule: Mapping[str, Any]) -> tuple[Series, Series]:
        """Slope an hour, and whether the window holds five readings that span half of it."""
        series, minutes = self.points[rule["point"]], self.minutes
        window = rule.get("window", "30 min")
        rolling = minutes.rolling(window, closed="both")
        slope = series.rolling(window, closed="both").cov(minutes) / rolling.var() * 60
        half = pd.Timedelta(window) / pd.Timedelta("1min") / 2
        return slope, (rolling.count() >= 5) & (minutes - rolling.min() >= half)

    def _rate(self, rule: Mapping[str, Any]) -> None:
        slope, known = self._slope(rule)
        for side, sign in (("rise", 1), ("fall", -1)):
            if side in rule:
                limit = float(rule[side].split()[0])
                condition = known & (sign * slope > limit)
                self._alarms(rule, side, condition, known & ~condition)

    def _ahead(self, rule: Mapping[str, Any]) -> None:
        slope, known = self._slope(rule)
        series, limit = self.points[rule["point"]], float(rule["low"])
        hours = pd.Timedelta(rule["horizon"]) / pd.Timedelta("1h")
        condition = (series < limit) | (known & (series + slope * hours < limit))
        self._alarms(rule, "low", condition, known & ~condition)

    def _flat(self, rule: Mapping[str, Any]) -> None:
        series = self.points[rule["point"]]
        rolling = series.rolling(rule["window"], closed="both")
        covered = series.index - series.index[0] >= pd.Timedelta(rule["window"])
        still = rolling.max() - rolling.min() <= float(rule["tolerance"])
        self._alarms(rule, "flat", still & covered, ~still & covered)

    def _spread(self, rule: Mapping[str, Any]) -> None:
        together = pd.concat([self.points[name] for name in rule["points"]], axis=1).ffill()
        apart = together.max(axis=1) - together.min(axis=1) > float(rule["span"])
        self._alarms(rule, "spread", apart, ~apart)

    def _silent(self, rule: Mapping[str, Any]) -> None:
        stamps = self.points[rule["point"]].index.to_series()
        hold = self.stale[rule["point"]]
        lost = stamps[stamps.shift(-1) - stamps > hold] + hold
        self.onsets[rule["id"], "silent"] = [at.value // 1_000_000 for at in lost]

    def _cycle(self, rule: Mapping[str, Any]) -> None:
        level = self.points[rule["point"]]
        full, empty = level >= float(rule["high"]), level <= float(rule["low"])
        mark = pd.Series(np.nan, index=level.index)
        mark[full] = 1.0
        mark[empty] = -1.0
        mark = mark.ffill()
        drained = level.index[(mark == -1.0) & (mark.shift() == 1.0)].to_series()
        longest = pd.Timedelta(rule["longest"])
        late = drained.diff().shift(-1) > longest
        # A wrong period is over with the next that is right.
        begins = late & ~late.shift(fill_value=False)
        found = [at.value // 1_000_000 for at in drained[begins] + longest]
        if len(drained) and level.index[-1] - drained.iloc[-1] >= longest and not late.iloc[-2:-1].any():
            found.append((drained.iloc[-1] + longest).value // 1_000_000)
        self.onsets[rule["id"], "period"] = found
        for side, stays in (("full", full), ("empty", empty)):
            self._alarms(rule, side, stays, ~stays, rule[side])

    def _stopped(self, rule: Mapping[str, Any]) -> None:
        pieces = []
        for item in rule["evidence"]:
            series = self.points[item["point"]]
            if "under" in item:
                true = series < float(item["under"])
            else:
                rolling = series.rolling(item["window"], closed="both")
                true = rolling.max() - rolling.min() >= float(item["moved"])
            pieces.append(true * item.get("weight", 1))
        stopped = pd.concat(pieces, axis=1).ffill().sum(axis=1) >= rule["needed"]
        self._alarms(rule, "stopped", stopped, ~stopped, rule["on_delay"])
        self.conditions[rule["id"]] = stopped

    def _joined(self, rule: Mapping[str, Any], least: int) -> None:
        parts = pd.concat([self.conditions[name] for name in rule["rules"]], axis=1).ffill()
        true = parts.sum(axis=1) >= least
        self._alarms(rule, rule["kind"], true, ~true)
        self.conditions[rule["id"]] = true

    def _all_of(self, rule: Mapping[str, Any]) -> None:
        self._joined(rule, len(rule["rules"]))

    def _any_of(self, rule: Mapping[str, Any]) -> None:
        self._joined(rule, 1)

    def _at_least(self, rule: Mapping[str, Any]) -> None:
        self._joined(rule, rule["n"])

    def _not(self, rule: Mapping[str, Any]) -> None:
        self.conditions[rule["id"]] = ~self.conditions[rule["rule"]]
