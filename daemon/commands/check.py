"""Is the site file right, what does it watch, and who is told?"""

from __future__ import annotations

import argparse
import json
import shutil
import textwrap
from collections import Counter
from pathlib import Path

from daemon.arguments import json_argument, site_argument
from daemon.coarse import remarks as remarks_on_steps
from daemon.site.load import Site, load_site
from daemon.site.names import named
from daemon.site.problem import SiteFileError
from daemon.site.reach import PersonTable
from rules.durations import show_duration
from rules.people import PersonSettings
from rules.settings import Priority, Settings

EXAMPLE = "tidebed check site.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SITE, --json and --schema."""
    site_argument(parser)
    json_argument(parser)
    parser.add_argument("--schema", action="store_true", help="print a JSON Schema of the site file, for editors")


def run(arguments: argparse.Namespace) -> int:
    """0: the file is right; 1: it is not, and everything wrong in it is printed."""
    if arguments.schema:
        from daemon.site.schema import site_schema

        print(json.dumps(site_schema(), indent=2))
        return 0
    try:
        site = load_site(arguments.site)
    except SiteFileError as error:
        for problem in error.problems:
            told = json.dumps({"file": arguments.site, **problem.record()}) if arguments.json else None
            print(told or problem.show(Path(arguments.site).name))
        if not arguments.json:
            count = len(error.problems)
            print(f"\n{count} {'problem' if count == 1 else 'problems'}; nothing of this file is used until mended")
        return 1
    if arguments.json:
        print(json.dumps({"file": arguments.site, "problems": 0, **_counts(site)}))
    else:
        print("\n".join(_summary(site)))
    return 0


def _counts(site: Site) -> dict[str, object]:
    plan = site.plan
    return {
        "name": plan.name,
        "points": len(plan.points),
        "derived": len(plan.derived),
        "rules": dict(Counter(rule.priority.value for rule in plan.rules)),
        "stages": len(plan.stages),
        "persons": len(plan.persons),
        "adapters": sorted(site.adapters),
        "not_watched": unwatched(site),
        "silence_not_told": unguarded(site),
        "remarks": [remark.record() for remark in (*site.remarks, *remarks_on_steps(site))],
        "fingerprint": site.fingerprint,
    }


def _summary(site: Site) -> list[str]:
    plan = site.plan
    lines = [f"{site.path.name} is right: {plan.name}, times of day in {plan.timezone}", ""]
    lines += _listed("points", [point.id for point in plan.points])
    lines += _listed("derived", [point.id for point in plan.derived])
    for priority in Priority:
        lines += _listed(priority.value, [rule.id for rule in plan.rules if rule.priority is priority])
    lines += _listed("stages", [stage.id for stage in plan.stages])
    lines += _listed("adapters", sorted(site.adapters))
    lines += [f"  told      {_told(person)}" for person in plan.persons] or [
        "  told      nobody: there is no [[person]]"
    ]
    left, deaf = unwatched(site), unguarded(site)
    remarks = [*site.remarks, *remarks_on_steps(site)]
    if left or deaf or remarks:
        lines.append("")
    if left:
        lines += _wrapped(f"No rule looks at {', '.join(left)}.")
    if deaf:
        lines += _wrapped(f"No rule says when these fall silent: {', '.join(deaf)}.")
    lines += [f"  {remark.show(site.path.name)}" for remark in remarks]
    return lines


def _listed(word: str, names: list[str]) -> list[str]:
    return _wrapped(f"{word:<9} {len(names)}: {', '.join(names)}", hang=12) if names else []


def _wrapped(text: str, hang: int = 2) -> list[str]:
    width = max(40, min(100, shutil.get_terminal_size().columns))
    return textwrap.wrap(text, width, initial_indent="  ", subsequent_indent=" " * hang, break_on_hyphens=False)


def _told(person: PersonSettings) -> str:
    wait = f" when nobody acknowledges for {show_duration(person.after)}" if person.after else ""
    turn = person.next_way_after if isinstance(person, PersonTable) else None
    between = ", " if turn is None else f", after {show_duration(turn)} by "
    ways = f"by {between.join(person.ways) or 'no way yet'}"
    own = "".join(f"; {priority} by {between.join(ways) or 'no way yet'}" for priority, ways in person.ways_for.items())
    return f"{person.name or person.id}: {', '.join(person.priorities)}{wait}, {ways}{own}"


def unwatched(site: Site) -> list[str]:
    """The points at which neither a rule nor a stage looks, itself or by a derived point, in the order of the file."""
    plan = site.plan
    seen = {point for settings in (*plan.rules, *plan.stages) for point in _points_of(settings)}
    known = [point.id for point in (*plan.points, *plan.derived)]
    for derived in reversed(plan.derived):  # one rests on those above it
        if derived.id in seen:
            seen.update(derived.inputs_among(known))
    return [name for name in known if name not in seen]


def unguarded(site: Site) -> list[str]:
    """The points that rules look at and whose silence no rule tells, in the order of the file."""
    told = {"silent": set[str](), "other": set[str]()}
    for rule in site.plan.rules:
        kind = getattr(rule, "kind", "")
        told["silent" if kind in ("silent", "stopped") else "other"].update(_points_of(rule))
    return [point.id for point in site.plan.points if point.id in told["other"] - told["silent"]]


def _points_of(settings: Settings) -> set[str]:
    return {name for _, table, name in named(settings, ()) if table == "point"}
