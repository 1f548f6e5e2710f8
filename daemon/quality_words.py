"""Which quality test do the words of a command line describe?"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, get_args

from pydantic import BeforeValidator, ValidationError
from pydantic.fields import FieldInfo

from daemon.site.located import nearest
from rules.durations import Duration
from rules.errors import SettingError, ValueRefused
from rules.quality.registry import TESTS
from rules.quality.settings import QualitySettings
from rules.units import exact, split_amount

_DURATION = next(part.func for part in get_args(Duration) if isinstance(part, BeforeValidator))

_SPAN = re.compile(
    r"(?P<months>\d+(?:-\d+)?)?(?:@(?P<hours>\d\d:\d\d-\d\d:\d\d))?:(?P<low>[^.(]*(?:\.\d+)?)\.\.(?P<high>[^(]*)"
    r"(?:\((?P<fail_low>.*?)\.\.(?P<fail_high>.*)\))?"
)

SPANS_FORM = '"1-3:10..20; 4-9@08:00-20:00:15..28(5..35)": months, hours, usual span, possible span in brackets'

_MANY_DIGITS = 15
_SIMPLE = 1_000_000


def settings_of(test: str, pairs: Mapping[str, str]) -> QualitySettings:
    """The settings that KEY=VALUE pairs give a test.

    Durations may be bare seconds. Raises SettingError for an unknown test or key, and for a value that does not fit.
    """
    model = model_of(test)
    for key in pairs:
        if key not in model.model_fields:
            raise SettingError(f"{test} has no {key}; {nearest(key, model.model_fields, kind='keys')}")
    table = {key: _read(test, key, text, model.model_fields[key]) for key, text in pairs.items()}
    if test == "attenuated":
        table.setdefault("min_readings", 2)
    try:
        return model.model_validate(table)
    except ValidationError as error:
        details = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in details["loc"])
        if details["type"] == "missing":
            raise SettingError(f"{test} needs {key}; write {key}=VALUE") from None
        cause = details.get("ctx", {}).get("error", details["msg"])
        raise SettingError(f"{test}: {key}={pairs.get(str(details['loc'][0]), '')}: {cause}") from None


def model_of(test: str) -> type[QualitySettings]:
    """The settings class of a test; raises SettingError with the nearest known names."""
    if test not in TESTS:
        raise SettingError(f"there is no quality test {test!r}; {nearest(test, [*TESTS, 'syntax'], kind='tests')}")
    return TESTS[test]


def _read(test: str, key: str, text: str, field: FieldInfo) -> Any:
    if key in _READERS:
        return _READERS[key](text)
    if any(getattr(part, "func", None) is _DURATION for part in _parts(field)):
        number, unit = split_amount(text)
        return text if unit else f"{number} s"
    if key in ("kind", "method", "min_readings"):
        return text
    if not split_amount(text)[0]:
        raise SettingError(f"{test}: {key}={text} is no number; write as in {key}=0.5 or {key}='0.5 degC'")
    return _simple_fraction(text) if test == "rate_of_change" else text


def _parts(field: FieldInfo) -> list[Any]:
    """What is annotated to a field, at any depth."""
    found = list(field.metadata)
    waiting: list[Any] = [field.annotation]
    while waiting:
        inside = get_args(waiting.pop())
        found += inside
        waiting += inside
    return found


def _listed(text: str) -> list[str]:
    return [part.strip() for part in text.split(",")]


def _simple_fraction(text: str) -> str:
    """A decimal of 15 digits or more that is the nearest to a simple fraction is that fraction: 0.016666666666666666
    is 1/60. Nobody who means another number writes so many digits."""
    number, unit = split_amount(text)
    try:
        value = exact(number)
    except ValueRefused:
        return text
    simple = value.limit_denominator(_SIMPLE)
    if unit or len(Decimal(number).as_tuple().digits) < _MANY_DIGITS or float(simple) != float(value):
        return text
    return f"{simple.numerator}/{simple.denominator}"


def _spans(text: str) -> list[dict[str, Any]]:
    if text.startswith("["):
        try:
            listed = json.loads(text, parse_float=Decimal)
        except json.JSONDecodeError as error:
            raise SettingError(f"climatology: spans are no JSON ({error}); write them as in {SPANS_FORM}") from None
        if not isinstance(listed, list):
            raise SettingError(f"climatology: spans must be a list; write them as in {SPANS_FORM}")
        return listed
    found = []
    for part in text.split(";"):
        span = _SPAN.fullmatch(part.strip())
        if span is None:
            raise SettingError(f"climatology: {part.strip()!r} is no span; write spans as in {SPANS_FORM}")
        found.append({key: value.strip() for key, value in span.groupdict().items() if value and value.strip()})
    return found


_READERS: dict[str, Callable[[str], Any]] = {"spans": _spans, "values": _listed, "points": _listed}
