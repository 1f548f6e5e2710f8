"""What would a site be with some settings of its rules changed? The file on disk stays as it is."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import tomlkit

from daemon.site.load import Site, site_from_text
from daemon.site.located import nearest
from daemon.site.problem import SiteFileError
from rules.errors import SettingError


class Change(NamedTuple):
    """One setting of one rule or stage: `rule.key = value`, and how it was written on the command line."""

    rule: str
    key: str
    value: Any
    written: str


def parse_change(text: str) -> Change:
    """`tank.warm.on_delay=30 min` -> its parts; the key is what follows the last dot.

    The value is read as in the site file (`26.5`, `true`, `["a.b"]`) and as text where it is nothing of that kind.
    Raises SettingError that shows the form.
    """
    name, equals, value = text.partition("=")
    rule, dot, key = name.strip().rpartition(".")
    if not equals or not dot or not rule or not key:
        raise SettingError(f"--set {text!r} is not understood; write RULE.KEY=VALUE, as in tank.warm.on_delay=30 min")
    return Change(rule, key, _value(value.strip()), text)


def _value(text: str) -> Any:
    try:
        value = tomllib.loads(f"value = {text}")
    except tomllib.TOMLDecodeError:
        return text
    if list(value) != ["value"] or isinstance(value["value"], dt.date | dt.time):
        return text
    # Kept as tomlkit's own, so that 26.50 goes into the file as it was written.
    return tomlkit.parse(f"value = {text}")["value"]


def with_changes(site: Site, changes: Sequence[Change]) -> Site:
    """The site as its file would be with the changes in it.

    Whatever `tidebed check` would refuse is refused: raises SettingError that names the change, or the nearest known
    rule or key.
    """
    document = tomlkit.parse(site.path.read_text(encoding="utf-8-sig"))
    tables = {
        str(table["id"]): table for listed in ("rule", "stage") for table in document.get(listed, ()) if "id" in table
    }
    for change in changes:
        if change.rule not in tables:
            near = nearest(change.rule, tables, kind="rules")
            raise SettingError(f"--set {change.written}: there is no rule {change.rule}; {near}")
        tables[change.rule][change.key] = change.value
    try:
        return site_from_text(tomlkit.dumps(document), site.path)
    except SiteFileError as error:
        raise SettingError(_told(error, changes)) from error


def _told(error: SiteFileError, changes: Iterable[Change]) -> str:
    lines = []
    for problem in error.problems:
        own = [c for c in changes if problem.where.split(" ")[-1] == c.rule and problem.key in (c.key, "")]
        place = f"--set {own[-1].written}" if own else f"with --set, {problem.where} {problem.key}".rstrip()
        lines.append(f"{place}: {problem.what}" + (f"; {problem.mend}" if problem.mend else ""))
    return "\n".join(lines)
