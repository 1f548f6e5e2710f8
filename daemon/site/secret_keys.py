"""Does a secret stand in the site file? It is shared, copied and shown; passwords and tokens live elsewhere."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from daemon.site.lines import Path
from daemon.site.located import Located
from daemon.site.problem import Problem

_SECRET_KEY = re.compile(
    r"(^|_)(password|passwd|passphrase|pass|pwd|token|secret|secrets|credential|credentials|api_?key|access_?key|"
    r"private_?key|bearer|auth|authorization)$",
    re.IGNORECASE,
)
_LOGIN_IN_ADDRESS = re.compile(r"[a-z][a-z0-9+.-]*://[^/\s@]*:[^/\s@]+@", re.IGNORECASE)
_BELONGS = "keep it with the secrets: in their own file, which tidebed alone may read, or in the environment"


def secrets_in(located: Located) -> Iterator[tuple[Path, Problem]]:
    """Each key that is named like a secret and each address with a login in it; their values are masked."""
    for path, value in _texts(located.data):
        key = next(part for part in reversed(path) if isinstance(part, str))
        if _SECRET_KEY.search(key) and not isinstance(value, bool):
            what = "a secret does not belong in the site file"
        elif isinstance(value, str) and _LOGIN_IN_ADDRESS.search(value):
            what = "this address holds a login, which does not belong in the site file"
        else:
            continue
        yield path, _masked(located.problem(path, what, _BELONGS))


def without(value: Any, left_out: Collection[Path], at: Path = ()) -> Any:
    """Parsed data without the keys at some paths, which were refused already."""
    if isinstance(value, Mapping):
        return {key: without(below, left_out, (*at, key)) for key, below in value.items() if (*at, key) not in left_out}
    if isinstance(value, list):
        return [without(below, left_out, (*at, index)) for index, below in enumerate(value)]
    return value


def _masked(problem: Problem) -> Problem:
    return Problem(problem.line, problem.where, problem.key, '"..."', problem.what, problem.mend)


def _texts(value: Any, at: Path = ()) -> Iterator[tuple[Path, Any]]:
    if isinstance(value, Mapping):
        for key, below in value.items():
            yield from _texts(below, (*at, key))
    elif isinstance(value, list):
        for index, below in enumerate(value):
            yield from _texts(below, (*at, index))
    else:
        yield at, value
