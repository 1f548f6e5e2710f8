"""Which points are kept in coarser steps than their probes send, so that digits are lost?"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from daemon.site.load import Site
from daemon.site.problem import Problem
from daemon.store import StoreReader
from daemon.store.errors import StoreError
from rules.plan import PointPlan

KEY = "coarse"
"""Under which the store keeps it: point -> the step that was too coarse, as JSON."""


class Coarse:
    """What a daemon knows of it."""

    def __init__(self, kept: str | None) -> None:
        """kept: what the store keeps."""
        self._steps: dict[str, str] = json.loads(kept or "{}")

    def note(self, names: Iterable[str], points: Mapping[str, PointPlan]) -> str | None:
        """What the store is to keep, now that readings of the points `names` lost digits; None for nothing new."""
        steps = {name: _step(points[name]) for name in names if name in points}
        if steps.items() <= self._steps.items():
            return None
        self._steps |= steps
        return json.dumps(self._steps, sort_keys=True)


def remarks(site: Site) -> list[Problem]:
    """A remark on each point whose step is still the one that lost digits; none where no daemon has run yet."""
    try:
        with StoreReader(site.store_path) as store:
            kept = json.loads(store.meta(KEY) or "{}")
    except StoreError:
        return []
    return [
        Problem(
            None,
            f"point {point.id}",
            "resolution" if point.raw is point else "raw_resolution",
            kept[point.id],
            "is coarser than what came, so digits are lost",
            "write a finer one",
        )
        for point in site.plan.points
        if kept.get(point.id) == _step(point)
    ]


def _step(point: PointPlan) -> str:
    return f"{float(point.raw.resolution):g} {point.raw.unit}"
