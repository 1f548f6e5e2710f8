"""What in a right site file is worth a second look, since it is probably not what was meant?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from daemon.site.amounts import DIFFERENCES, RATES, amounts
from daemon.site.draft import Draft
from daemon.site.lines import Path
from daemon.site.problem import Problem
from daemon.texts import ENGLISH as SPOKEN
from rules.conditions.band import BandSettings
from rules.messages import TITLE_SIZE
from rules.plan import PointPlan
from rules.settings import Priority
from rules.texts import ENGLISH
from rules.units import convert, parse_unit

_LIMITS = ("high", "low", "under", "over", "on")


def remarks(made: Draft, points: Mapping[str, PointPlan]) -> Iterator[Problem]:
    """Remarks on a draft without problems; nothing is refused for them."""
    yield from _limits_out_of_reach(made, points)
    yield from _hours_without_zone(made)
    yield from _nobody_told(made)
    yield from _ways_in_turn(made)
    yield from _told_in_english(made)
    for index, rule in made.rules.items():
        tables: list[tuple[Path, str | None]] = [(("rule", index), rule.title)]
        tables += [(("rule", index, "sides", side), own.title) for side, own in rule.sides.given().items()]
        for path, title in tables:
            if title is not None and len(title) > TITLE_SIZE:
                yield made.located.problem(
                    (*path, "title"), f"is longer than {TITLE_SIZE} characters", "the rest is cut on a lock screen"
                )


def _limits_out_of_reach(made: Draft, points: Mapping[str, PointPlan]) -> Iterator[Problem]:
    tables = [(("rule", index), rule) for index, rule in made.rules.items()]
    for at, settings in [*tables, *((("stage", index), stage) for index, stage in made.stages.items())]:
        for path, value in amounts(made, settings, at, points).items():
            if path[-1] not in _LIMITS or path[-1] in DIFFERENCES | RATES:
                continue
            point = points.get(_point_at(made, path))
            if point is None:
                continue
            own, unit = parse_unit(point.kind.unit), point.units
            low, high = convert(point.kind.low, own, unit), convert(point.kind.high, own, unit)
            if not low <= value <= high:
                yield made.located.problem(
                    path,
                    f"lies outside what {point.kind.name} can show ({float(low):g} to {float(high):g} {point.unit})",
                    'a limit in another unit carries it, as in "90 degF"',
                )


def _point_at(made: Draft, path: Path) -> str:
    """The point that the nearest table around a key names."""
    while path:
        path = path[:-1]
        found, name = made.located.look_up((*path, "point"))
        if found and isinstance(name, str):
            return name
    return ""


def _hours_without_zone(made: Draft) -> Iterator[Problem]:
    if "timezone" in made.site.model_fields_set:
        return
    for index, rule in made.rules.items():
        path: Path = ("rule", index)
        if rule.during is not None:
            yield made.located.problem((*path, "during"), "is judged in UTC", "write timezone = ... in [site]")
        if isinstance(rule, BandSettings) and rule.limits:
            yield made.located.problem((*path, "limits"), "are judged in UTC", "write timezone = ... in [site]")


def _nobody_told(made: Draft) -> Iterator[Problem]:
    if not made.persons:
        return
    for index, person in made.persons.items():
        if not person.ways:
            yield made.located.problem(("person", index), "has no way to be told", "write ways = [...]")
    for priority in (Priority.CRITICAL, Priority.HIGH):
        rules = [rule.id for rule in made.rules.values() if rule.priority is priority]
        if rules and not any(priority in person.priorities for person in made.persons.values()):
            yield made.located.problem(
                (),
                f"nobody is told of {', '.join(rules)} ({priority.value})",
                "add the priority to a person's priorities",
            )


def _ways_in_turn(made: Draft) -> Iterator[Problem]:
    """Who names a siren for what is critical hardly means that it sounds only when the phone has failed."""
    for index, person in made.persons.items():
        for priority, ways in person.ways_for.items():
            if person.next_way_after is not None and len(ways) > 1:
                yield made.located.problem(
                    ("person", index, "ways_for", str(priority)),
                    "are ways that stand in for each other, as next_way_after says",
                    "for one that is always used, as a siren, write a [[person]] of its own, with that way alone",
                )


def _told_in_english(made: Draft) -> Iterator[Problem]:
    """Texts that neither the language nor the keeper has; English needs none."""
    language = made.site.language
    missing = [name for name in ENGLISH if name not in made.texts]
    if missing and language != SPOKEN:
        yield made.located.problem(
            ("site", "language"),
            f"some texts are told in English, since {language} lacks them: {', '.join(missing)}",
            f"write them into daemon/texts/{language}.toml or [texts]",
        )
