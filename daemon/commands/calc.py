"""What is one derived quantity, such as the oxygen that water can hold, for these numbers?"""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Any

from daemon.arguments import json_argument
from daemon.pairs import parse_pairs
from rules.errors import SettingError

if TYPE_CHECKING:
    from rules.derived.record import Argument, Derived

EXAMPLE = (
    "tidebed calc oxygen_saturation temperature=20 pressure=101.325 salinity=0\n"
    '         tidebed calc vapour_pressure_deficit temperature="86 degF" humidity=60\n'
    "         tidebed calc --list"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NAME, KEY=VALUE..., --list, --json."""
    parser.add_argument("name", metavar="NAME", nargs="?", help="the quantity; --list shows them all")
    parser.add_argument(
        "pairs",
        metavar="KEY=VALUE",
        nargs="*",
        help="an argument: a number in its own unit, or with another one; lists with commas",
    )
    parser.add_argument("--list", action="store_true", help="every name, its arguments, their units and ranges")
    json_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """0: worked out or listed."""
    if arguments.list:
        return _list(arguments)
    if arguments.name is None:
        raise SettingError("no quantity is named; `tidebed calc --list` shows them all")
    from rules.derived.calc import calculate

    pairs = parse_pairs(arguments.pairs, "temperature=20")
    result = calculate(arguments.name, pairs)
    if arguments.json:
        print(json.dumps(result.as_dict(), ensure_ascii=False))
        return 0
    from rules.derived.record import plain, with_unit

    print(f"{result.name} = {with_unit(f'{result.value:.6g}', result.unit)}")
    for used in result.arguments:
        values = used.value if isinstance(used.value, tuple) else (used.value,)
        as_given = used.origin in ("given", "default")
        shown = ", ".join(plain(value) if as_given else f"{value:.6g}" for value in values)
        print(
            f"  {used.name} = {with_unit(shown, used.unit)}" + ("" if used.origin == "given" else f"  ({used.origin})")
        )
    print(f"Equation: {result.equation}\nSource: {result.source}\nHolds for: {result.valid_range}")
    return 0


def _list(arguments: argparse.Namespace) -> int:
    from rules.derived.record import plain, with_unit
    from rules.derived.registry import DERIVED, derived

    records = DERIVED.values() if arguments.name is None else [derived(arguments.name)]
    for record in records:
        if arguments.json:
            print(json.dumps(_record(record), ensure_ascii=False))
            continue
        print(f"{record.name} [{record.unit}]  {record.meaning}")
        for argument in record.arguments:
            need = "" if argument.required else "  (may be left out)"
            if argument.default is not None:
                need = f"  (left out: {with_unit(plain(argument.default), argument.unit)})"
            print(f"  {argument.name:<22} {argument.range_text:<28} {argument.meaning}{need}")
            if argument.instead is not None:
                print(
                    f"    or {argument.instead.name:<17} {argument.instead.range_text:<28} {argument.instead.meaning}"
                )
    return 0


def _record(record: Derived) -> dict[str, Any]:
    """A derived quantity as a JSON object."""
    return {
        "name": record.name,
        "meaning": record.meaning,
        "unit": record.unit,
        "arguments": [_argument(argument) for argument in record.arguments],
        "equation": record.equation,
        "source": record.source,
        "valid_range": record.valid_range,
    }


def _argument(argument: Argument) -> dict[str, Any]:
    instead = argument.instead
    return {
        "name": argument.name,
        "unit": argument.unit,
        "low": argument.low,
        "high": argument.high,
        "meaning": argument.meaning,
        "required": argument.required,
        "default": argument.default,
        "list": argument.is_list,
        "choices": list(argument.choices),
        "instead": None
        if instead is None
        else {"name": instead.name, "unit": instead.unit, "low": instead.low, "high": instead.high},
    }
