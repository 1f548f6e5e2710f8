"""Which tables of a site file are right, each taken alone?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from daemon.site.adapters import SETTINGS, AdapterTable, settings_class
from daemon.site.explain import explain
from daemon.site.lines import Path
from daemon.site.located import Located, nearest
from daemon.site.problem import Problem
from daemon.site.reach import HeartbeatTable, PersonTable, SelfwatchTable, SendingTable, WebTable
from daemon.site.tables import DERIVED_KINDS, PointTable, SiteTable, StoreTable
from daemon.texts import texts_in
from rules.conditions import KINDS
from rules.derived_settings import DerivedSettings
from rules.errors import SettingError
from rules.message_settings import MessageSettings
from rules.settings import RuleSettings
from rules.stages import StageSettings
from rules.texts import ENGLISH, STRAY, places, strays

LISTS = ("point", "derived", "rule", "stage", "person")
TABLES = ("site", "adapter", "store", "web", "messages", "texts", "sending", "heartbeat", "selfwatch")

M = TypeVar("M", bound=BaseModel)


@dataclass(slots=True)
class Draft:
    """What could be read of each table, by its position in the file, and the problems found so far.

    incomplete: the tables of which some keys were refused; that a key is absent says nothing there.
    """

    located: Located
    site: SiteTable = field(default_factory=SiteTable)
    store: StoreTable = field(default_factory=StoreTable)
    web: WebTable = field(default_factory=WebTable)
    messages: MessageSettings = field(default_factory=MessageSettings)
    texts: dict[str, str] = field(default_factory=dict)
    sending: SendingTable = field(default_factory=SendingTable)
    heartbeat: HeartbeatTable | None = None
    selfwatch: SelfwatchTable = field(default_factory=SelfwatchTable)
    points: dict[int, PointTable] = field(default_factory=dict)
    derived: dict[int, DerivedSettings] = field(default_factory=dict)
    rules: dict[int, RuleSettings] = field(default_factory=dict)
    stages: dict[int, StageSettings] = field(default_factory=dict)
    persons: dict[int, PersonTable] = field(default_factory=dict)
    adapters: dict[str, AdapterTable] = field(default_factory=dict)
    incomplete: set[Path] = field(default_factory=set)
    problems: list[Problem] = field(default_factory=list)

    def refuse(self, path: Path, what: str, mend: str = "") -> None:
        """Note a problem with the key at `path`."""
        self.problems.append(self.located.problem(path, what, mend))

    def items(self, table: str) -> list[tuple[int, Mapping[str, Any]]]:
        """(position, table as written) of every `[[table]]`, whether or not it is right."""
        found = self.located.data.get(table)
        listed = found if isinstance(found, list) else []
        return [(index, item) for index, item in enumerate(listed) if isinstance(item, Mapping)]

    def ids(self, table: str) -> list[str]:
        """Every id that a `[[table]]` gives, whether or not the rest of it is right."""
        return [item["id"] for _, item in self.items(table) if isinstance(item.get("id"), str)]


def draft(located: Located) -> Draft:
    """Each table read by its settings class."""
    made = Draft(located)
    for name in located.data:
        if name not in (*LISTS, *TABLES):
            made.refuse((name,), "unknown table", nearest(name, (*LISTS, *TABLES), kind="tables"))
    made.site = _table(made, ("site",), SiteTable) or made.site
    made.store = _table(made, ("store",), StoreTable) or made.store
    made.web = _table(made, ("web",), WebTable) or made.web
    made.messages = _table(made, ("messages",), MessageSettings) or made.messages
    made.texts = _language(made) | _texts(made)
    made.sending = _table(made, ("sending",), SendingTable) or made.sending
    made.heartbeat = _table(made, ("heartbeat",), HeartbeatTable)
    made.selfwatch = _table(made, ("selfwatch",), SelfwatchTable) or made.selfwatch
    made.points = _list(made, "point", PointTable)
    made.stages = _list(made, "stage", StageSettings)
    made.persons = _list(made, "person", PersonTable)
    made.derived = _list_by_kind(made, "derived", DERIVED_KINDS)
    made.rules = _list_by_kind(made, "rule", KINDS)
    _adapters(made)
    return made


def _table(made: Draft, path: Path, model: type[M]) -> M | None:
    found, table = made.located.look_up(path)
    if not found:
        return None
    if not isinstance(table, Mapping):
        made.refuse(path, "must be one table", f"write it once, as [{path[0]}]")
        return None
    return _read(made, path, model, table)


def _language(made: Draft) -> dict[str, str]:
    """The words of the site's language, which `[texts]` may replace."""
    try:
        return texts_in(made.site.language)
    except SettingError as error:
        what, _, mend = str(error).partition("; ")
        made.refuse(("site", "language"), what, mend)
        return {}


def _texts(made: Draft) -> dict[str, str]:
    """`[texts]`: name -> text, of those that are right. A name with dots is written in quotes."""
    found, table = made.located.look_up(("texts",))
    if not found:
        return {}
    if not isinstance(table, Mapping):
        made.refuse(("texts",), "must be one table", "write it once, as [texts]")
        return {}
    right: dict[str, str] = {}
    for name, text in table.items():
        path: Path = ("texts", name)
        if name not in ENGLISH:
            made.refuse(path, "is no text of ours", nearest(name, ENGLISH, kind="texts"))
        elif not isinstance(text, str):
            made.refuse(path, "must be text", "put it in quotes")
        elif strays(text):
            made.refuse(path, STRAY, "write a name in small letters, as in {value}")
        elif unknown := [place for place in places(text) if place not in places(ENGLISH[name])]:
            made.refuse(
                path, f"{{{unknown[0]}}} cannot be filled in", nearest(unknown[0], places(ENGLISH[name]), kind="names")
            )
        else:
            right[name] = text
    return right


def _list(made: Draft, name: str, model: type[M]) -> dict[int, M]:
    _check_listed(made, name)
    read = ((index, _read(made, (name, index), model, table)) for index, table in made.items(name))
    return {index: item for index, item in read if item is not None}


def _list_by_kind(made: Draft, name: str, kinds: Mapping[str, type[M]]) -> dict[int, M]:
    _check_listed(made, name)
    found: dict[int, M] = {}
    for index, table in made.items(name):
        path, kind = (name, index, "kind"), table.get("kind")
        if kind is None:
            made.refuse(path, "is missing", f"write one of {', '.join(kinds)}")
        elif not isinstance(kind, str) or kind not in kinds:
            made.refuse(path, "unknown kind", nearest(str(kind), kinds, kind="kinds"))
        elif (read := _read(made, path[:2], kinds[kind], table)) is not None:
            found[index] = read
    return found


def _check_listed(made: Draft, name: str) -> None:
    found = made.located.data.get(name, [])
    if not isinstance(found, list) or not all(isinstance(item, Mapping) for item in found):
        made.refuse((name,), "must be a list of tables", f"write it with two brackets, as [[{name}]]")


def _read(made: Draft, path: Path, model: type[M], table: Mapping[str, Any]) -> M | None:
    """The table as its settings class; where keys are wrong, what is right of it, so that all of it is checked."""
    try:
        return model.model_validate(table)
    except ValidationError as error:
        problems = explain(error, model, made.located, path)
        made.problems.extend(problems)
        made.incomplete.add(path)
        wrong = {str(details["loc"][0]) for details in error.errors(include_url=False) if details["loc"]}
    try:
        return model.model_validate({key: value for key, value in table.items() if key not in wrong})
    except ValidationError:
        return None


def _adapters(made: Draft) -> None:
    tables = made.located.data.get("adapter", {})
    if not isinstance(tables, Mapping):
        made.refuse(("adapter",), "must be a table", "write each adapter as [adapter.NAME]")
        return
    for name, table in tables.items():
        path: Path = ("adapter", name)
        if not isinstance(table, Mapping):
            made.refuse(path, "must be a table", f"write it as [adapter.{name}]")
            continue
        kind = table.get("kind", name)
        if not isinstance(kind, str) or kind not in SETTINGS:
            at = (*path, "kind") if "kind" in table else path
            made.refuse(at, "unknown adapter", nearest(str(kind), SETTINGS, kind="adapters"))
            continue
        own = {key: value for key, value in table.items() if key != "kind"}
        settings = _read(made, path, settings_class(kind), own)
        if settings is not None:
            made.adapters[name] = AdapterTable(name, kind, settings)
