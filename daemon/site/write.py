"""How do new settings of a rule get into the site file, with everything else in it left as it was written?"""

from __future__ import annotations

import contextlib
import difflib
import os
import tempfile
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import tomlkit

from daemon.site.lines import key_lines
from daemon.site.load import problems_of
from daemon.site.located import nearest
from daemon.site.problem import SiteFileError
from rules.errors import SettingError, TidebedError

Written = Decimal | int | str
_AFTER = ("id", "kind", "point", "points", "high", "low", "rise", "fall", "deadband", "window", "on_delay", "off_delay")
"""A key that the rule lacked is written below the last of these that it has on one line."""
_CONTEXT = 2


class NotWritten(TidebedError):
    """The site file was left as it is."""


@dataclass(frozen=True, slots=True)
class Edit:
    """A change of the site file that passes `tidebed check`; `before` and `after` are its whole bytes."""

    path: Path
    before: bytes
    after: bytes

    def diff(self) -> list[str]:
        """The lines that change, marked - and +, with some lines around them."""
        old, new = (raw.decode("utf-8-sig").splitlines() for raw in (self.before, self.after))
        lines = difflib.unified_diff(old, new, self.path.name, f"{self.path.name} (new)", n=_CONTEXT, lineterm="")
        return list(lines)

    def write(self) -> None:
        """Put the new text in the old one's place, whole or not at all.

        Raises NotWritten where the file is not what it was when it was read, OSError.
        """
        # A link stays a link; the file that it leads to changes.
        path = self.path.resolve()
        if path.read_bytes() != self.before:
            raise NotWritten(f"{self.path} has been changed meanwhile, and was left as it is; run the command again")
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(self.after)
                file.flush()
                os.fsync(file.fileno())
            own = path.stat()
            os.chmod(name, own.st_mode & 0o7777)
            with contextlib.suppress(PermissionError):  # only root may give a file away
                os.chown(name, own.st_uid, own.st_gid)
            os.replace(name, path)
        except BaseException:
            os.unlink(name)
            raise
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def edit(path: Path, rule: str, settings: Mapping[str, Written]) -> Edit:
    """The site file at `path` with `settings` (key -> value as it would be written) in the rule of that name.

    Comments, blank lines, order and line ends stay. Raises SettingError for a rule that there is not, SiteFileError
    where the result would not pass the check, NotWritten where it cannot be changed by itself, OSError.
    """
    before = path.read_bytes()
    text = before.decode("utf-8-sig")
    data = tomllib.loads(text, parse_float=Decimal)
    rules = [str(table.get("id", "")) for table in data.get("rule", ())]
    if rule not in rules:
        raise SettingError(f"{path.name} has no rule {rule}; {nearest(rule, rules, kind='rules')}")
    place = rules.index(rule)
    own = data["rule"][place]
    document = tomlkit.parse(text)
    for key, value in settings.items():
        if key in own:
            tables: Any = document["rule"]
            tables[place][key] = _item(value)
    changed = _with_new_keys(
        tomlkit.dumps(document), place, {key: value for key, value in settings.items() if key not in own}
    )
    own.update({key: value if isinstance(value, str) else Decimal(value) for key, value in settings.items()})
    if tomllib.loads(changed, parse_float=Decimal) != data:
        raise NotWritten(f"{path.name} cannot be changed by itself; write the new values into rule {rule} by hand")
    problems = problems_of(changed)
    if problems:
        raise SiteFileError(path.name, problems)
    mark = before[:3] if before.startswith(b"\xef\xbb\xbf") else b""
    return Edit(path, before, mark + changed.encode("utf-8"))


def _shown(value: Written) -> str:
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


def _item(value: Written) -> Any:
    """As tomlkit's own, so that 26.50 stays as it was written."""
    return tomlkit.parse(f"value = {_shown(value)}")["value"]


def _with_new_keys(text: str, place: int, settings: Mapping[str, Written]) -> str:
    if not settings:
        return text
    lines = key_lines(text, tomllib.loads(text))
    here = [line for key in _AFTER if (line := lines.get(("rule", place, key))) is not None]
    if not here:
        raise NotWritten("the lines of the rule were not found; write the new values by hand")
    listed = text.splitlines(keepends=True)
    at = max(here)
    above = listed[at - 1]
    indent = above[: len(above) - len(above.lstrip())]
    end = "\r\n" if above.endswith("\r\n") else "\n"
    if not above.endswith("\n"):
        listed[at - 1] = above + end
    listed[at:at] = [f"{indent}{key} = {_shown(value)}{end}" for key, value in settings.items()]
    return "".join(listed)
