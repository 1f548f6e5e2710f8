"""Is the site file right, and what plan does it make?"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import cast

from daemon.site.adapters import AdapterTable
from daemon.site.derived import add_derived
from daemon.site.draft import Draft, draft
from daemon.site.habits import check_habits
from daemon.site.limits import check_limits
from daemon.site.located import Located
from daemon.site.names import check_names
from daemon.site.points import point_plans
from daemon.site.problem import Problem, SiteFileError
from daemon.site.reach import HeartbeatTable, SelfwatchTable, SendingTable, WebTable
from daemon.site.reaching import check_reach
from daemon.site.remarks import remarks
from daemon.site.secret_keys import secrets_in, without
from daemon.site.syntax import syntax_problem
from daemon.site.tables import SiteTable, StoreTable
from rules.derived_settings import AnyDerived
from rules.errors import SettingError, TidebedError
from rules.judging import RuleJudge
from rules.local_time import Zone
from rules.plan import Plan, PointPlan
from rules.quality.neighbour import Neighbour
from rules.view import Surroundings


@dataclass(frozen=True, slots=True)
class Site:
    """A site file that is right.

    path: the file; fingerprint: SHA-256 of its text in hex, which changes with any change of the file; place: the
    `[site]` table; store_path: the store's file, absolute; remarks: what is right but worth a second look.
    """

    path: Path
    fingerprint: str
    plan: Plan
    place: SiteTable
    store: StoreTable
    store_path: Path
    adapters: Mapping[str, AdapterTable]
    web: WebTable
    sending: SendingTable
    heartbeat: HeartbeatTable | None
    selfwatch: SelfwatchTable
    remarks: tuple[Problem, ...] = ()


def load_site(path: str | Path) -> Site:
    """The site that a file describes.

    Raises SiteFileError with everything that is wrong in it, and SettingError where it cannot be read at all.
    """
    file = Path(path)
    try:
        raw = file.read_bytes()
    except OSError as error:
        raise SettingError(
            f"site file {file} cannot be read ({error.strerror}); name it on the command line or in $TIDEBED_SITE"
        ) from error
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        problem = Problem(line, "", "", "", "holds a character that is not UTF-8", "save the file as UTF-8")
        raise SiteFileError(file.name, [problem]) from error
    return site_from_text(text, file)


def site_from_text(text: str, file: Path) -> Site:
    """The site that a text describes, as if it stood in `file`; raises SiteFileError as load_site does."""
    made, points, problems = _read(text)
    if problems or made is None:
        raise SiteFileError(file.name, problems)
    return Site(
        path=file,
        fingerprint=hashlib.sha256(text.encode()).hexdigest(),
        plan=_plan(made, points, file.stem),
        place=made.site,
        store=made.store,
        store_path=file.resolve().parent / made.store.path,
        adapters=made.adapters,
        remarks=tuple(remarks(made, points)),
        web=made.web,
        sending=made.sending,
        heartbeat=made.heartbeat,
        selfwatch=made.selfwatch,
    )


def problems_of(text: str) -> list[Problem]:
    """Everything that is wrong in the text of a site file, in its order; empty where it is right."""
    return _read(text)[2]


def _read(text: str) -> tuple[Draft | None, dict[str, PointPlan], list[Problem]]:
    try:
        data = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        return None, {}, [syntax_problem(text, error)]
    located = Located.of(text, data)
    secrets = dict(secrets_in(located))
    made = draft(Located(without(data, secrets), located.lines))
    points = point_plans(made)
    add_derived(made, points)
    check_names(made)
    check_limits(made, points)
    check_habits(made)
    check_reach(made)
    if not made.problems and not secrets:
        if not points:
            made.refuse((), "no point is described", "write at least one [[point]]")
        _check_builds(made, points)
    masked = {problem.line for problem in secrets.values()}
    others = [problem for problem in made.problems if problem.line is None or problem.line not in masked]
    return made, points, sorted([*secrets.values(), *others], key=lambda problem: problem.line or 0)


def _check_builds(made: Draft, points: Mapping[str, PointPlan]) -> None:
    """What only the engine finds out: the last word on each rule, and on points that are compared with each other."""
    zone = Zone(made.site.timezone)
    measured = {table.id: index for index, table in made.points.items()}
    for name, index in measured.items():
        for settings in points[name].quality:
            try:
                test = settings.build(points[name], zone)
                if isinstance(test, Neighbour):
                    test.know({other: points[other] for other in measured})
            except TidebedError as error:
                what, _, mend = str(error).removeprefix("neighbour: ").partition("; ")
                made.refuse(("point", index, "quality", "neighbour", "points"), what, mend)
    around = Surroundings(points, zone)
    for index, rule in made.rules.items():
        try:
            RuleJudge(rule, around)
        except TidebedError as error:
            what, _, mend = str(error).partition("; ")
            made.refuse(("rule", index), what, mend)


def _plan(made: Draft, points: Mapping[str, PointPlan], stem: str) -> Plan:
    return Plan(
        name=made.site.name or stem,
        timezone=made.site.timezone,
        points=tuple(point for name, point in points.items() if name in made.ids("point")),
        derived=cast(tuple[AnyDerived, ...], tuple(made.derived.values())),
        rules=tuple(made.rules.values()),
        stages=tuple(made.stages.values()),
        persons=tuple(made.persons.values()),
        settle=made.site.settle,
        catch_up=made.site.catch_up,
        temperature_unit=made.site.display.temperature,
        volume_unit=made.site.display.volume,
        messages=made.messages,
        texts=made.texts,
    )
