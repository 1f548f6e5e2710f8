"""What does `tidebed` do with its command line?

Each command is one file in daemon/commands/, imported when it is called.
A command's file has: a docstring whose first line says which question it answers (shown in `tidebed --help`), EXAMPLE
(shown in its own `--help`), `add_arguments(parser)` and `run(arguments) -> int`, which returns 0 (done), 1 (a check
found something wrong) or 2 (could not be done). What `run` raises as TidebedError or OSError is told and becomes 2.
A command called `notify-test` is `notify_test.py`.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import os
import re
import sys
from collections.abc import Callable, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Protocol, cast

from rules.errors import TidebedError

DONE, FOUND_WRONG, NOT_DONE = 0, 1, 2
_NEGATIVE = re.compile(r"-\.?[0-9]")
_COMMANDS = Path(__file__).parent / "commands"


class Command(Protocol):
    """What the module of a command offers."""

    EXAMPLE: str
    add_arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]


def command_names() -> list[str]:
    """Every command there is, as it is typed."""
    return sorted(file.stem.replace("_", "-") for file in _COMMANDS.glob("[a-z]*.py"))


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    words = list(sys.argv[1:] if argv is None else argv)
    names = command_names()
    top = argparse.ArgumentParser(
        prog="tidebed",
        description="Watches a greenhouse whose gravel beds are fed by a fish tank, and tells its keeper in time.",
        epilog="commands:\n" + "\n".join(f"  {name:<12} {_question(name)}" for name in names) + "\n\n"
        "example: tidebed check site.toml\n`tidebed COMMAND --help` tells more, with an example.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"tidebed {version('tidebed')}")
    top.add_argument("command", choices=names, metavar="COMMAND", help="one of the commands below")
    if not words:
        top.print_help()
        return DONE
    name = cast(str, top.parse_args(words[:1]).command)
    command = cast(Command, importlib.import_module(f"daemon.commands.{_module(name)}"))
    parser = argparse.ArgumentParser(
        prog=f"tidebed {name}",
        description=_question(name),
        epilog=f"example: {command.EXAMPLE}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_arguments(parser)
    arguments = parser.parse_args([_spaced(word) for word in words[1:]])
    try:
        return command.run(arguments)
    except BrokenPipeError:  # the reader, such as `head`, has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        print(f"tidebed {name}: stopped from the keyboard", file=sys.stderr)
        return NOT_DONE
    except (TidebedError, OSError) as error:
        print(f"tidebed {name}: {error}", file=sys.stderr)
        return NOT_DONE


def _spaced(word: str) -> str:
    """With a space before a number that is negative, such as in `-177=10`: else it would be taken for an option."""
    return f" {word}" if _NEGATIVE.match(word) else word


def _module(name: str) -> str:
    return name.replace("-", "_")


def _question(name: str) -> str:
    """The first line of a command's docstring, read without importing what the command needs."""
    source = (_COMMANDS / f"{_module(name)}.py").read_text(encoding="utf-8")
    return (ast.get_docstring(ast.parse(source)) or "").partition("\n")[0]


if __name__ == "__main__":
    sys.exit(main())
