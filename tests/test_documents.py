"""Does what README.md and DEVELOPERS.md say hold?"""

from __future__ import annotations

import re
import textwrap
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from daemon.main import command_names
from daemon.site.load import problems_of

ROOT = Path(__file__).parent.parent
DOCUMENTS = ("README.md", "DEVELOPERS.md", "CHANGELOG.md")
HOUSE = ("rules", "adapters", "demo_replay", "daemon")


def text(document: str) -> str:
    return (ROOT / document).read_text(encoding="utf-8")


def blocks(document: str, language: str) -> list[str]:
    found = re.findall(rf"^( *)```{language}\n(.*?)^ *```", text(document), re.MULTILINE | re.DOTALL)
    return [textwrap.dedent(block) for _, block in found]


def test_the_site_file_of_the_readme_is_right() -> None:
    """A keeper may copy it as it stands."""
    (site,) = [block for block in blocks("README.md", "toml") if "[[point]]" in block]
    assert problems_of(site) == []


def test_the_mistake_that_the_readme_shows_is_told_so() -> None:
    """With the same line and the same words."""
    (site,) = [block for block in blocks("README.md", "toml") if "[[point]]" in block]
    (problem,) = problems_of(site.replace("high = 26.0", "hihg = 26.0"))
    assert problem.show("site.toml") in blocks("README.md", "console")[0]


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_command_that_is_named_exists(document: str) -> None:
    """`tidebed` is followed by a command of ours."""
    named = re.findall(r"(?:^|[ `/$])tidebed ([a-z][a-z-]+)", text(document), re.MULTILINE)
    assert set(named) <= set(command_names())


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_file_that_is_named_exists(document: str) -> None:
    """Paths into the four folders, deploy/ and tests/."""
    named = re.findall(r"\b((?:rules|adapters|demo_replay|daemon|deploy|tests)/[\w/.-]*\w)", text(document))
    missing = [path for path in sorted(set(named)) if not (ROOT / path).exists()]
    assert missing == []


def test_no_installed_package_shares_a_name_with_the_house() -> None:
    """That is why four plain package names are safe in an environment of Tidebed's own."""
    owners = packages_distributions()
    assert {name: set(owners.get(name, [])) - {"tidebed"} for name in HOUSE} == {name: set() for name in HOUSE}
