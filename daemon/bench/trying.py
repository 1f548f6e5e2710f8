"""Which side of which rule does a person want to tune, with which settings, and which of those may a site file have?"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from pydantic import ValidationError

from daemon.bench.vary import varied
from daemon.site.draft import Draft
from daemon.site.limits import check_limits
from daemon.site.load import Site
from daemon.site.located import Located, nearest
from demo_replay.tuning.grid import Grid
from demo_replay.tuning.tune import Trial
from demo_replay.watching import Watching
from rules.conditions import KINDS
from rules.errors import SettingError, TidebedError
from rules.judging import RuleJudge
from rules.local_time import Zone
from rules.plan import PointPlan
from rules.settings import RuleSettings
from rules.view import Surroundings

_SIDES = {
    "high": "high", "low": "low", "rise": "rise", "fall": "fall",
    "full": "full", "empty": "empty", "shortest": "period", "longest": "period",
}  # fmt: skip
"""Key -> the side that it alone decides, in kinds that have such a side."""


class Trying:
    """A rule of a site under other settings."""

    def __init__(self, site: Site, rule: str, vary: Sequence[str], side: str | None) -> None:
        """Raises SettingError that names the nearest rule, key or side, and what `varied` raises."""
        self._points = {point.id: point for point in site.plan.points}
        self._around = Surroundings(self._points, Zone(site.plan.timezone))
        self._table = _table(site, rule)
        own = next(settings for settings in site.plan.rules if settings.id == rule)
        point: PointPlan = Watching(site.plan).shown(rule)
        grid = Grid(varied(list(vary), own, self._table, point))
        self.trial = Trial(own, self._side(own, grid, side), grid)

    def variants(self, grid: Grid) -> list[RuleSettings | None]:
        """The rule under each setting of a grid of its keys; None where `tidebed check` would refuse it."""
        return [self._variant(grid.setting(number)) for number in range(grid.size)]

    def _variant(self, setting: Mapping[str, Any]) -> RuleSettings | None:
        try:
            rule = KINDS[self._table["kind"]].model_validate({**self._table, **setting})
            made = Draft(Located({}, {}), rules={0: rule})
            check_limits(made, self._points)
            RuleJudge(rule, self._around)
        except (ValidationError, TidebedError):
            return None
        return None if made.problems else rule

    def _side(self, own: RuleSettings, grid: Grid, wanted: str | None) -> str:
        sample = next((rule for rule in map(self._variant, _settings(grid)) if rule is not None), own)
        sides = [side for side in RuleJudge(sample, self._around).condition.sides if side != "blind"]
        decided = {key: _SIDES[key] for key in grid.keys if _SIDES.get(key) in sides}
        if wanted is not None and wanted not in sides:
            raise SettingError(f"--side {wanted}: {own.id} has no such side; {nearest(wanted, sides, kind='sides')}")
        chosen = wanted or next(iter(decided.values()), sides[0] if len(sides) == 1 else "")
        if not chosen:
            raise SettingError(f"{own.id} has the sides {' and '.join(sides)}; say with --side which one to tune")
        for key, side in decided.items():
            if side != chosen:
                raise SettingError(f"--vary {key} does nothing to the side {chosen}; tune one side at a time")
        return chosen


def _settings(grid: Grid) -> list[dict[str, Any]]:
    """A few settings from all over the grid, of which one at least is likely to be possible."""
    return [grid.setting(number) for number in sorted({0, grid.size // 2, grid.size - 1})]


def _table(site: Site, rule: str) -> dict[str, Any]:
    data = tomllib.loads(site.path.read_text(encoding="utf-8-sig"), parse_float=Decimal)
    tables = {table["id"]: table for table in data.get("rule", ())}
    if rule not in tables:
        raise SettingError(f"--rule {rule}: there is no such rule; {nearest(rule, tables, kind='rules')}")
    found: dict[str, Any] = tables[rule]
    return found
