"""Are the derived points right: worked out from points above them, by a formula that fits?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from daemon.site.draft import Draft
from daemon.site.lines import Path
from daemon.site.located import nearest
from rules.derived_points import DerivedPlan
from rules.errors import TidebedError
from rules.plan import PointPlan
from rules.units import split_amount


def add_derived(made: Draft, points: dict[str, PointPlan]) -> None:
    """Add the plan of each derived point that is right to `points`; note the problems of the others."""
    known = made.ids("point")
    for index, table in made.items("derived"):
        path: Path = ("derived", index)
        unknown = [
            (place, name)
            for place, name, may_be_amount in _inputs(table, path)
            if not _is_known(name, known, may_be_amount)
        ]
        for place, name in unknown:
            made.refuse(place, f"there is no point {name} above", nearest(name, known, kind="points"))
        settings = made.derived.get(index)
        if settings is not None and not unknown and path not in made.incomplete:
            _plan(made, path, settings, points)
        if isinstance(table.get("id"), str):
            known.append(table["id"])


def _plan(made: Draft, path: Path, settings: Any, points: dict[str, PointPlan]) -> None:
    if any(name not in points for name in settings.inputs_among(made.ids("point") + made.ids("derived"))):
        return  # it rests on a point whose own problem was told
    try:
        points.setdefault(settings.id, DerivedPlan(settings, points).point)
    except TidebedError as error:
        what, _, mend = str(error).partition("; ")
        made.refuse(path, what, mend)


def _inputs(table: Mapping[str, Any], path: Path) -> Iterator[tuple[Path, str, bool]]:
    """(path, text, whether an amount may stand there) of all that may name a point."""
    for key in ("point", "of"):
        if isinstance(table.get(key), str):
            yield (*path, key), table[key], False
    if isinstance(table.get("by"), str):
        yield (*path, "by"), table["by"], True
    weights, inputs = table.get("weights"), table.get("inputs")
    if isinstance(weights, Mapping):
        yield from (((*path, "weights", name), name, False) for name in weights)
    if isinstance(inputs, Mapping):
        yield from (((*path, "inputs", key), text, True) for key, text in inputs.items() if isinstance(text, str))


def _is_known(text: str, known: list[str], may_be_amount: bool) -> bool:
    return text in known or (may_be_amount and bool(split_amount(text)[0]))
