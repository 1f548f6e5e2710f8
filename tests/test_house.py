"""Do imports run down the house only, and does the core know nothing of clocks, files, sockets, threads and loggers?"""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
FLOORS = ("rules", "adapters", "demo_replay", "daemon")
"""From the ground up: each may import itself and what lies below."""

BESIDE = ("README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "CHANGELOG.md", "requirements.lock")
"""What stands beside them, tests/ and deploy/."""

CLOCK = {"sched", "time"}
FILE = {"fcntl", "glob", "io", "mmap", "os", "pathlib", "shutil", "sqlite3", "sys", "tempfile"}
SOCKET = {"asyncio", "ftplib", "http", "select", "selectors", "smtplib", "socket", "socketserver", "ssl", "urllib"}
THREAD = {"concurrent", "multiprocessing", "queue", "signal", "subprocess", "threading"}
LOGGER = {"logging", "warnings"}
CHANCE = {"random", "secrets", "uuid"}
LIBRARIES_OF_UPPER_FLOORS = {"apprise", "influxdb_client", "matplotlib", "paho", "requests", "rich", "tomlkit"}
NOT_FOR_THE_CORE = CLOCK | FILE | SOCKET | THREAD | LOGGER | CHANCE | LIBRARIES_OF_UPPER_FLOORS

FILE_CALLS = frozenset({"open", "input", "print"})
CLOCK_CALLS = frozenset(
    f"{owner}.{call}"
    for owner in ("dt.datetime", "datetime.datetime", "datetime", "dt.date", "datetime.date", "date")
    for call in ("now", "utcnow", "today")
)


def sources(floor: str) -> list[Path]:
    return sorted((ROOT / floor).rglob("*.py"))


def imported(tree: ast.AST, package: str) -> Iterator[tuple[int, str]]:
    """(line, full module name) of every import, at the top of a file or inside a function."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, name.name) for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: -(node.level - 1) or None] if node.level else []
            yield node.lineno, ".".join([*above, node.module or ""])
        elif isinstance(node, ast.Call) and ast.unparse(node.func) in ("importlib.import_module", "__import__"):
            yield from ((node.lineno, str(arg.value)) for arg in node.args if isinstance(arg, ast.Constant))


def first_line(file: Path) -> str:
    return (ast.get_docstring(ast.parse(file.read_text(encoding="utf-8"))) or "").partition("\n")[0]


def package_of(file: Path) -> str:
    return ".".join(file.relative_to(ROOT).parent.parts)


def test_nothing_else_stands_at_the_top() -> None:
    """The floors, what belongs beside them, and files whose names begin with a dot."""
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, text=True).stdout
    top = {name.partition("/")[0] for name in listed.split("\0") if name and not name.startswith(".")}
    assert top == {*FLOORS, "tests", "deploy", *BESIDE}


def arrows_up(floor: str, source: str, package: str) -> list[str]:
    above = FLOORS[FLOORS.index(floor) + 1 :]
    return [
        f"line {line}: {floor}/ imports {name}"
        for line, name in imported(ast.parse(source), package)
        if name.partition(".")[0] in above
    ]


@pytest.mark.parametrize("floor", FLOORS)
def test_no_import_points_up_the_house(floor: str) -> None:
    """rules imports nothing of ours; adapters rules; demo_replay those two; daemon all three."""
    files = sources(floor)
    assert files, f"{floor}/ holds no Python file"
    found = {str(file): arrows_up(floor, file.read_text(encoding="utf-8"), package_of(file)) for file in files}
    assert not {file: arrows for file, arrows in found.items() if arrows}


def test_the_core_imports_no_clock_file_socket_thread_or_logger() -> None:
    """What rules/ says depends on its arguments alone."""
    found = [
        f"{file}:{line} imports {name}"
        for file in sources("rules")
        for line, name in imported(ast.parse(file.read_text(encoding="utf-8")), package_of(file))
        if name.partition(".")[0] in NOT_FOR_THE_CORE
    ]
    assert not found


def test_the_core_asks_no_clock_and_opens_no_file() -> None:
    """Neither open() nor print() nor a datetime's now() is called in rules/."""
    found = [
        f"{file}:{node.lineno} calls {ast.unparse(node.func)}"
        for file in sources("rules")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and (
            (isinstance(node.func, ast.Name) and node.func.id in FILE_CALLS)
            or (isinstance(node.func, ast.Attribute) and ast.unparse(node.func) in CLOCK_CALLS)
        )
    ]
    assert not found


@pytest.mark.parametrize(
    ("source", "package"),
    [
        ("import daemon.store", "rules"),
        ("from adapters.intake import Arrived", "rules.conditions"),
        ("def late():\n    from demo_replay import player", "adapters"),
        ("import importlib\nimportlib.import_module('daemon.loop')", "demo_replay"),
    ],
)
def test_an_import_that_points_up_is_seen_wherever_it_hides(source: str, package: str) -> None:
    """The check itself sees imports in functions and by name."""
    assert arrows_up(package.partition(".")[0], source, package)


def test_relative_imports_count_by_where_they_lead() -> None:
    """`from . import x` stays within its package."""
    assert list(imported(ast.parse("from . import x\nfrom ..a import b"), "rules.conditions")) == [
        (1, "rules.conditions."),
        (2, "rules.a"),
    ]


def test_every_file_says_first_which_question_it_answers() -> None:
    """The first line of each module's docstring is there and is a sentence."""
    silent = [
        str(file) for floor in FLOORS for file in sources(floor) if not first_line(file).rstrip().endswith((".", "?"))
    ]
    assert not silent
