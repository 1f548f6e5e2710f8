"""Why could the text not be read as TOML at all, said so that a keeper can mend it?"""

from __future__ import annotations

import re
import tomllib

from daemon.site.problem import Problem

_PLACE = re.compile(r"^(?P<what>.*) \(at (?:line (?P<line>\d+), column \d+|end of document)\)$", re.DOTALL)
_PAIR = re.compile(r"^\s*(?P<key>[\w.\-]+)\s*=\s*(?P<value>[^#]*?)\s*(#.*)?$")
_COMMA = re.compile(r"^[+-]?\d+,\d+$")
_CURLY = "\u201c\u201d\u201e\u2018\u2019"


def syntax_problem(text: str, error: tomllib.TOMLDecodeError) -> Problem:
    """The one problem at which the parser stopped; what stands after it has not been looked at."""
    found = _PLACE.match(str(error))
    what = found["what"] if found else str(error)
    lines = text.replace("\r\n", "\n").split("\n")
    line = int(found["line"]) if found and found["line"] else len(lines)
    written = lines[line - 1] if line <= len(lines) else ""
    key, value, told, mend = _guess(written, what)
    return Problem(line, "", key, value, told, mend)


def _guess(written: str, what: str) -> tuple[str, str, str, str]:
    pair = _PAIR.match(written)
    key, value = (pair["key"], pair["value"]) if pair else ("", "")
    if re.match(r"Cannot (declare|overwrite|mutate|add)|Duplicate", what):
        return key, value, "this key or table stands twice", "keep one of the two"
    if any(mark in written for mark in _CURLY):
        return key, value, "curly quotes are not understood", 'use the straight quote "'
    if pair and _COMMA.match(value):
        return key, value, "a decimal comma is not understood", f"write {value.replace(',', '.')}"
    if pair and not value:
        return key, value, "has no value", "write one after the = sign"
    if pair and value[0] not in "\"'[{" and not _is_value(value):
        return key, value, "text without quotes is not understood", f'write {key} = "{value}"'
    if written.strip() and not pair and "=" not in written and not written.lstrip().startswith(("[", "#")):
        return "", written.strip(), "is neither a table nor a key with a value", "write key = value"
    return key, value, f"cannot be read: {what[:1].lower()}{what[1:]}", "look for a missing quote, bracket or = sign"


def _is_value(text: str) -> bool:
    try:
        tomllib.loads(f"key = {text}")
    except tomllib.TOMLDecodeError:
        return False
    return True
