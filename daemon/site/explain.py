"""How is what pydantic says about a table told to a keeper: what is wrong, and how to mend it?"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from daemon.site.lines import Path
from daemon.site.located import Located, nearest
from daemon.site.problem import Problem
from rules.durations import show_duration

_MUST_BE = {
    "string_type": ("must be text", "put it in quotes"),
    "tuple_type": ("must be a list", "put it in square brackets"),
    "list_type": ("must be a list", "put it in square brackets"),
    "dict_type": ("must be a table", "write it as { key = value }"),
    "model_type": ("must be a table", "write it as { key = value }"),
    "path_type": ("must be text", "put it in quotes"),
    "finite_number": ("must be a finite number", "write digits, as in 26.5"),
    "int_type": ("must be a whole number", "write it without a point and without quotes"),
    "int_parsing": ("must be a whole number", "write it without a point and without quotes"),
    "int_from_float": ("must be a whole number", "write it without a point and without quotes"),
    "float_type": ("must be a number", "write it without quotes, as in 26.5"),
    "float_parsing": ("must be a number", "write it without quotes, as in 26.5"),
    "decimal_type": ("must be a number", "write it without quotes, as in 0.1"),
    "decimal_parsing": ("must be a number", "write it without quotes, as in 0.1"),
    "bool_type": ("must be true or false", "without quotes"),
    "bool_parsing": ("must be true or false", "without quotes"),
}
_BOUNDS = {
    "greater_than": ("more than", "gt", "write a larger one"),
    "greater_than_equal": ("at least", "ge", "write that or a larger one"),
    "less_than": ("less than", "lt", "write a smaller one"),
    "less_than_equal": ("at most", "le", "write that or a smaller one"),
}
_SCHEMA = "`tidebed check --schema` prints what every key takes"


def explain(error: ValidationError, model: type[BaseModel], located: Located, at: Path) -> list[Problem]:
    """The problems of the table at `at`, one a key, in the order in which pydantic found them."""
    problems: dict[Path, Problem] = {}
    for details in error.errors(include_url=False):
        if details["type"] == "too_short" and details["input"]:
            continue  # what was in it is refused one by one
        path = _real_path(located, (*at, *details["loc"]), missing=details["type"] == "missing")
        if path not in problems:
            what, mend = _told(details, model, path[len(at) :], located.look_up(path)[1])
            problems[path] = located.problem(path, what, mend or _SCHEMA)
    return list(problems.values())


def known_keys(model: type[BaseModel]) -> list[str]:
    """The keys of a settings class as they are written in a file."""
    return [field.alias or name for name, field in model.model_fields.items()]


def _real_path(located: Located, path: Path, *, missing: bool) -> Path:
    """Without the names of union members, which pydantic adds to a place."""
    real: Path = ()
    for part in path:
        if located.look_up((*real, part))[0]:
            real = (*real, part)
    return (*real, path[-1]) if missing else real


def _told(details: ErrorDetails, model: type[BaseModel], inside: Path, value: object) -> tuple[str, str]:
    kind, context = details["type"], details.get("ctx", {})
    if kind == "extra_forbidden":
        owner = _model_at(model, inside[:-1])
        return "unknown key", nearest(str(inside[-1]), known_keys(owner), kind="keys") if owner else "take it out"
    if kind == "missing":
        return "is missing", _example(_model_at(model, inside[:-1]), str(inside[-1]))
    if kind in ("enum", "literal_error"):
        choices = str(context.get("expected", "")).replace("'", "")
        near = difflib.get_close_matches(str(value), choices.replace(" or ", ", ").split(", "), n=1, cutoff=0.6)
        return "is not known here", f"did you mean {near[0]}?" if near else f"write {choices}"
    if kind == "string_pattern_mismatch":
        return "is not a usable name", "use small letters, digits and _, with dots between parts"
    if kind == "value_error":
        what, _, mend = str(context.get("error", details["msg"])).partition("; ")
        return what, mend
    if kind in ("too_short", "string_too_short"):
        return (
            "must not be empty",
            "write at least one" if kind == "too_short" else "write something between the quotes",
        )
    if kind in _BOUNDS:
        word, name, mend = _BOUNDS[kind]
        bound = context[name]
        # Text that has a bound is a duration, kept in milliseconds.
        return f"must be {word} {show_duration(int(bound)) if isinstance(value, str) else f'{bound:g}'}", mend
    return _MUST_BE.get(kind) or (details["msg"].replace("Input should be", "must be"), "")


def _model_at(model: type[BaseModel], inside: Path) -> type[BaseModel] | None:
    """The settings class that owns the table at a path below `model`."""
    owner: type[BaseModel] | None = model
    for part in inside:
        if isinstance(part, int) or owner is None:
            continue
        field = next((field for name, field in owner.model_fields.items() if part in (name, field.alias)), None)
        owner = _model_in(field.annotation) if field else None
    return owner


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for part in get_args(annotation) if (found := _model_in(part))), None)


_EXAMPLES: Mapping[str, str] = {
    "id": 'give it a name, as in id = "tank.warm"',
    "point": 'name the point it watches, as in point = "tank.temperature"',
    "quantity": 'say what is measured, as in quantity = "water_temperature"',
    "kind": 'say what kind of rule it is, as in kind = "band"',
    "evidence": 'list what it weighs, as in evidence = [{ point = "return.flow", under = 1.0 }]',
}


def _example(owner: type[BaseModel] | None, key: str) -> str:
    field = owner.model_fields.get(key) if owner else None
    return _EXAMPLES.get(key) or (field.description if field and field.description else f"write {key} = ...")
