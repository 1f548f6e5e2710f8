"""Does every name in the site file mean exactly one thing: no id twice, nothing unknown, no ring?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from daemon.site.draft import LISTS, Draft
from daemon.site.lines import Path
from daemon.site.located import nearest

_NAMES_A: Mapping[str, str] = {
    "point": "point",
    "points": "point",
    "rule": "rule",
    "rules": "rule",
    "while": "rule",
    "suppressed_while": "rule",
    "explains": "rule",
    "only_if": "rule",
    "follows": "stage",
}
"""key of a setting -> the list whose ids it names; so for every kind of rule, stage and adapter."""

_RESTS_ON = ("while", "rule", "rules")
"""Keys by which a rule's condition rests on that of other rules."""


def check_names(made: Draft) -> None:
    """Note ids that stand twice, names of nothing, and rings."""
    _check_twice(made, "point", "derived")
    for listed in ("rule", "stage", "person"):
        _check_twice(made, listed)
    measured = {listed: made.ids(listed) for listed in LISTS}
    all_points = measured | {"point": measured["point"] + measured["derived"]}
    for path, table in _tables(made):
        known = measured if path[0] in ("adapter", "point") else all_points
        for place, kind, name in named(table, path):
            if name not in known[kind]:
                made.refuse(place, f"there is no {kind} {name}", nearest(name, known[kind], kind=f"{kind}s"))
    _check_rings(made, _links(made, "rule", _RESTS_ON), "this rule rests on itself")


def named(settings: object, at: Path) -> Iterator[tuple[Path, str, str]]:
    """(path, list, name) of each name that a settings object or a table gives, however deep.

    In an adapter, a name with braces is a template, which it fills from what it hears.
    """
    for key, value in _written(settings):
        path = (*at, key)
        table = _NAMES_A.get(key) if isinstance(key, str) else None
        if table and isinstance(value, str):
            if "{" not in value or at[:1] != ("adapter",):
                yield path, table, value
        elif table and isinstance(value, tuple | list) and all(isinstance(item, str) for item in value):
            yield from (((*path, index), table, name) for index, name in enumerate(value))
        elif key == "names" and isinstance(value, Mapping):
            yield from (((*path, sent), "point", name) for sent, name in value.items() if isinstance(name, str))
        else:
            yield from named(value, path)


def _written(settings: object) -> Iterator[tuple[str | int, Any]]:
    """The keys that were written, by the names that they have in the file."""
    if isinstance(settings, BaseModel):
        for name, field in type(settings).model_fields.items():
            if name in settings.model_fields_set:
                yield field.alias or name, getattr(settings, name)
    elif isinstance(settings, Mapping):
        yield from settings.items()
    elif isinstance(settings, tuple | list):
        yield from enumerate(settings)


def _check_twice(made: Draft, *tables: str) -> None:
    first: dict[str, Path] = {}
    for table in tables:
        for index, item in made.items(table):
            name, path = item.get("id"), (table, index, "id")
            if not isinstance(name, str):
                continue
            if name in first:
                line = made.located.line(first[name])
                where = f" (the first is on line {line})" if line else ""
                made.refuse(path, f"this id stands twice{where}", f"give each {tables[0]} an id of its own")
            else:
                first[name] = path


Links = dict[str, list[tuple[Path, str]]]
"""id -> (path of the key that names, id that it names)."""


def _tables(made: Draft) -> Iterator[tuple[Path, Mapping[str, Any]]]:
    """Every table that may name others, as it is written, right or not."""
    for listed in ("point", "rule", "stage", "person"):
        yield from (((listed, index), table) for index, table in made.items(listed))
    adapters = made.located.data.get("adapter")
    if isinstance(adapters, Mapping):
        yield from ((("adapter", name), table) for name, table in adapters.items() if isinstance(table, Mapping))


def _links(made: Draft, kind: str, keys: tuple[str, ...]) -> Links:
    links: Links = {}
    for index, table in made.items(kind):
        own = table.get("id")
        if isinstance(own, str):
            links[own] = [
                (place, name)
                for place, of_kind, name in named(table, (kind, index))
                if of_kind == kind and any(part in keys for part in place[2:])
            ]
    return links


def _check_rings(made: Draft, links: Links, what: str) -> None:
    """One problem a ring, at the key that closes it."""
    done: set[str] = set()

    def follow(name: str, way: tuple[str, ...]) -> None:
        for place, below in links.get(name, []):
            if below in way:
                ring = " -> ".join((*way[way.index(below) :], below))
                made.refuse(place, f"{what}: {ring}", "take one name out of the ring")
            elif below not in done:
                follow(below, (*way, below))
        done.add(name)

    for start in links:
        if start not in done:
            follow(start, (start,))
