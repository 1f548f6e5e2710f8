"""Do new settings get into the site file with all else left as it was, whole or not at all?"""

from __future__ import annotations

import os
from decimal import Decimal
from pathlib import Path

import pytest

from daemon.site.load import load_site
from daemon.site.problem import SiteFileError
from daemon.site.write import NotWritten, edit
from demo_replay.days import SITE as SHIPPED
from rules.errors import SettingError
from tests.site_files import SITE


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A site file."""
    path = tmp_path / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    return path


def changed_lines(path: Path, rule: str, **settings: Decimal | int | str) -> list[str]:
    """The lines marked - and + of the change, without the names."""
    return [line for line in edit(path, rule, settings).diff() if line[0] in "+-" and line[:3] not in ("---", "+++")]


def test_a_value_changes_in_its_place(site: Path) -> None:
    """Numbers as they are written, durations in quotes."""
    change = edit(site, "tank.warm", {"high": Decimal("26.50"), "on_delay": "15 min"})
    change.write()
    expected = SITE.replace("high = 26.0", "high = 26.50").replace('on_delay = "10 min"', 'on_delay = "15 min"')
    assert site.read_text(encoding="utf-8") == expected
    assert load_site(site).plan.rules[0].on_delay == 900_000


def test_a_key_that_the_rule_lacked_stands_below_the_numbers(site: Path) -> None:
    """Not below the title, and not in another table."""
    assert changed_lines(site, "tank.warm", off_delay="5 min") == ['+off_delay = "5 min"']
    edit(site, "tank.warm", {"off_delay": "5 min"}).write()
    assert 'on_delay = "10 min"\noff_delay = "5 min"\npriority' in site.read_text(encoding="utf-8")


def test_comments_of_the_shipped_file_stay(tmp_path: Path) -> None:
    """Beside the value and everywhere else."""
    path = tmp_path / "site.toml"
    path.write_bytes(SHIPPED.read_bytes())
    assert changed_lines(path, "loop.stopped", needed=4) == ["-needed = 3", "+needed = 4"]
    for line in changed_lines(path, "loop.slow", low=Decimal("0.75")):
        assert line.endswith("# of 17.2 L/min")


def test_line_ends_and_the_mark_at_the_beginning_stay(site: Path) -> None:
    """A file from another system keeps its ways."""
    site.write_bytes(b"\xef\xbb\xbf" + SITE.replace("\n", "\r\n").encode())
    edit(site, "tank.warm", {"high": 27, "off_delay": "5 min"}).write()
    raw = site.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf")
    assert raw.count(b"\n") == raw.count(b"\r\n") == SITE.count("\n") + 1


def test_what_the_check_would_refuse_is_refused(site: Path) -> None:
    """With its line; the file stays."""
    with pytest.raises(SiteFileError, match="deadband"):
        edit(site, "tank.warm", {"deadband": Decimal(50)})
    with pytest.raises(SettingError, match=r"did you mean tank\.warm"):
        edit(site, "tank.worm", {"high": 1})
    assert site.read_text(encoding="utf-8") == SITE


def test_a_file_that_changed_meanwhile_is_left_alone(site: Path) -> None:
    """What somebody else wrote is not lost."""
    change = edit(site, "tank.warm", {"high": 27})
    site.write_text(SITE + "# mine\n", encoding="utf-8")
    with pytest.raises(NotWritten, match="changed meanwhile"):
        change.write()
    assert site.read_text(encoding="utf-8") == SITE + "# mine\n"
    assert os.listdir(site.parent) == ["site.toml"]


def test_links_and_permissions_stay(site: Path, tmp_path: Path) -> None:
    """The file behind a link changes, and who may read it does not."""
    site.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(site)
    edit(link, "tank.warm", {"high": 27}).write()
    assert link.is_symlink()
    assert "high = 27\n" in site.read_text(encoding="utf-8")
    assert site.stat().st_mode & 0o777 == 0o640


def test_a_write_that_fails_leaves_nothing_behind(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk: the old file stands, the draft is gone."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        edit(site, "tank.warm", {"high": 27}).write()
    assert os.listdir(site.parent) == ["site.toml"]
    assert site.read_text(encoding="utf-8") == SITE
