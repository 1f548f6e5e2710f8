"""Does every command explain itself, and end in 0, 1 or 2?"""

from __future__ import annotations

import argparse
import importlib
import subprocess
import sys

import pytest

from daemon import main as front
from rules.errors import SettingError

Captured = pytest.CaptureFixture[str]


@pytest.mark.parametrize("name", front.command_names())
def test_every_command_has_help_with_an_example(name: str, capsys: Captured) -> None:
    """Its question, its arguments and a line to copy."""
    with pytest.raises(SystemExit) as ended:
        front.main([name, "--help"])
    assert ended.value.code == 0
    out = capsys.readouterr().out
    assert f"usage: tidebed {name}" in out
    assert f"example: tidebed {name}" in out


@pytest.mark.parametrize("name", front.command_names())
def test_every_command_prints_json_lines_where_that_is_asked(name: str, capsys: Captured) -> None:
    """As --help says; of `label` each of its four deeds."""
    for deed in ("add", "list", "remove", "from-alarms") if name == "label" else (None,):
        with pytest.raises(SystemExit):
            front.main([name, "--help"] if deed is None else [name, "x.csv", deed, "--help"])
        assert "print JSON lines" in capsys.readouterr().out


def test_help_lists_every_command_with_its_question(capsys: Captured) -> None:
    """Without a command, and with --help."""
    assert front.main([]) == 0
    bare = capsys.readouterr().out
    with pytest.raises(SystemExit):
        front.main(["--help"])
    assert capsys.readouterr().out == bare
    for name in front.command_names():
        assert f"\n  {name} " in bare


def test_an_unknown_command_ends_in_2_and_names_the_known(capsys: Captured) -> None:
    """As does any wrong argument."""
    with pytest.raises(SystemExit) as ended:
        front.main(["chekc"])
    assert ended.value.code == 2
    assert "check" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("error", "code", "told"),
    [
        (SettingError("no such point; write another"), 2, "tidebed check: no such point; write another"),
        (FileNotFoundError(2, "No such file", "x.csv"), 2, "x.csv"),
        (KeyboardInterrupt(), 2, "stopped from the keyboard"),
    ],
)
def test_what_a_command_raises_is_told_and_becomes_2(
    error: BaseException, code: int, told: str, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Errors raised on purpose and errors of the system; never a traceback."""

    def fail(arguments: argparse.Namespace) -> int:
        raise error

    monkeypatch.setattr(importlib.import_module("daemon.commands.check"), "run", fail)
    assert front.main(["check"]) == code
    assert told in capsys.readouterr().err


def test_an_error_of_our_own_making_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bug shows itself."""

    def fail(arguments: argparse.Namespace) -> int:
        raise ZeroDivisionError

    monkeypatch.setattr(importlib.import_module("daemon.commands.check"), "run", fail)
    with pytest.raises(ZeroDivisionError):
        front.main(["check"])


def test_a_reader_that_stops_early_is_no_fault() -> None:
    """`tidebed check --schema | head -1` ends quietly."""
    command = f"set -o pipefail; {sys.executable} -m daemon.main check --schema | head -1"
    ended = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert (ended.returncode, ended.stdout, ended.stderr) == (0, "{\n", "")


def test_help_imports_nothing_heavy() -> None:
    """So that it answers at once."""
    probe = "import sys; from daemon.main import main; main([]); print([m for m in sys.modules if m in " + (
        "('numpy', 'pydantic', 'matplotlib', 'apprise', 'rich')])"
    )
    ended = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert ended.stdout.splitlines()[-1] == "[]"
