"""Are the scripts and the service unit sound, as far as can be told without a board?"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from daemon.site.load import load_site
from tests.needs import program

ROOT = Path(__file__).parents[2]
SCRIPTS = sorted([*(ROOT / "deploy").glob("*.sh"), ROOT / ".ci" / "run"])
LOCKS = ("requirements.lock", "deploy/requirements-test.lock", "deploy/requirements-build.lock")


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda script: script.name)
def test_a_script_is_clean(script: Path) -> None:
    """shellcheck, which follows what is sourced, finds nothing."""
    ended = subprocess.run(
        [program("shellcheck"), "-x", str(script)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (ended.stdout, ended.returncode) == ("", 0)


def test_the_unit_is_understood(tmp_path: Path) -> None:
    """systemd itself finds nothing wrong; only the program's place, which is not there yet, is changed."""
    unit = tmp_path / "tidebed.service"
    text = (ROOT / "deploy" / "tidebed.service").read_text(encoding="utf-8")
    unit.write_text(re.sub(r"^ExecStart=\S+", "ExecStart=/bin/true", text, flags=re.MULTILINE), encoding="utf-8")
    verify = [program("systemd-analyze", "systemd"), "verify", "--man=no", str(unit)]
    ended = subprocess.run(verify, capture_output=True, text=True, check=False)
    assert (ended.stderr, ended.returncode) == ("", 0)


def test_the_unit_is_well_shut_in() -> None:
    """systemd's own measure of exposure, 0 (none) to 10, is 2 at most."""
    unit = ROOT / "deploy" / "tidebed.service"
    measure = [
        program("systemd-analyze", "systemd"),
        "security",
        "--offline=true",
        "--threshold=20",
        "--no-pager",
        str(unit),
    ]
    ended = subprocess.run(measure, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stdout[-300:]


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_pins_and_names_no_host(lock: str) -> None:
    """Every package at one version with hashes; no index, link or path."""
    text = (ROOT / lock).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line.strip()]
    pinned = [line for line in lines if not line.startswith((" ", "#"))]
    assert pinned
    assert all(re.fullmatch(r"[a-z0-9_.-]+==[^ ;]+( ; [^\\]+)? \\", line) for line in pinned)
    assert all(line.startswith("    --hash=sha256:") for line in lines if line not in pinned)


def test_the_test_lock_holds_the_runtime_lock() -> None:
    """What is tested is what is installed."""

    def versions(lock: str) -> dict[str, str]:
        text = (ROOT / lock).read_text(encoding="utf-8")
        return dict(re.findall(r"^([a-z0-9_.-]+)==(\S+)", text, re.MULTILINE))

    assert versions("requirements.lock").items() <= versions("deploy/requirements-test.lock").items()


def test_the_environment_is_whole() -> None:
    """The locks are installed without asking what each package needs, so they must name all of it."""
    check = [sys.executable, "-m", "pip", "--disable-pip-version-check", "check"]
    ended = subprocess.run(check, capture_output=True, text=True, check=False)
    assert (ended.stdout.strip(), ended.returncode) == ("No broken requirements found.", 0)


def backup(folder: Path, tidebed: Path, site: Path) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "TIDEBED": str(tidebed), "TIDEBED_SITE": str(site)}
    return subprocess.run(
        ["bash", ROOT / "deploy" / "backup.sh", folder], env=environment, capture_output=True, text=True, check=False
    )


def test_a_backup_keeps_the_newest_fourteen(tmp_path: Path) -> None:
    """Older ones go, and nothing else in the folder is touched."""
    site, tidebed, folder = tmp_path / "site.toml", tmp_path / "tidebed", tmp_path / "disk"
    site.write_text("[site]\n")
    tidebed.write_text('#!/bin/sh\n[ "$1 $3" = "backup --out" ] && : >"$4"\n')
    tidebed.chmod(0o755)
    folder.mkdir()
    for day in range(1, 16):
        for name in ("tidebed-202601{:02}T000000Z.sqlite", "site-202601{:02}T000000Z.toml"):
            (folder / name.format(day)).touch()
    (folder / "photos.txt").touch()
    ended = backup(folder, tidebed, site)
    assert ended.returncode == 0, ended.stderr
    stores = sorted(file.name for file in folder.glob("tidebed-*.sqlite"))
    assert len(stores) == 14
    assert stores[0] == "tidebed-20260103T000000Z.sqlite"
    assert len(list(folder.glob("site-*.toml"))) == 14
    assert (folder / "photos.txt").exists()


def test_a_backup_that_fails_removes_nothing(tmp_path: Path) -> None:
    """And says so by its exit code."""
    site, tidebed, folder = tmp_path / "site.toml", tmp_path / "tidebed", tmp_path / "disk"
    site.write_text("[site]\n")
    tidebed.write_text("#!/bin/sh\nexit 2\n")
    tidebed.chmod(0o755)
    folder.mkdir()
    for day in range(1, 20):
        (folder / f"tidebed-202601{day:02}T000000Z.sqlite").touch()
    assert backup(folder, tidebed, site).returncode == 2
    assert len(list(folder.iterdir())) == 19


def test_a_backup_to_a_missing_disk_is_refused(tmp_path: Path) -> None:
    """A folder that is not there is a disk that is not in."""
    ended = backup(tmp_path / "gone", tmp_path / "tidebed", tmp_path / "site.toml")
    assert ended.returncode == 2
    assert "is no folder; is the disk in?" in ended.stderr


def test_the_example_site_is_right() -> None:
    """A keeper starts from a file that check accepts without a remark."""
    site = load_site(ROOT / "deploy" / "site.example.toml")
    assert site.remarks == ()
