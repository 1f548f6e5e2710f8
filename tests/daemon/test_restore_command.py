"""Does a backup take the place of a damaged store, without what the damaged one left beside it?"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest

from daemon.main import main
from daemon.store import Sending, State, Store, StoreReader
from daemon.store.connection import Connection
from rules.block import block
from rules.durations import DAY
from rules.plan import PointPlan

ROOT = Path(__file__).parents[2]
SITE = """
[[point]]
id = "tank.temperature"
quantity = "water_temperature"
unit = "degC"
resolution = 0.1
"""
POINT = PointPlan("tank.temperature", "water_temperature", "degC", Fraction(1, 10))
KILLED = """
import os, signal, sys
from fractions import Fraction
from pathlib import Path
from daemon.store import Store
from rules.block import block
from tests.daemon.test_restore_command import POINT
store = Store(Path(sys.argv[1]), [POINT])
for turn in range(5, 300):
    store.commit([block(POINT.id, [turn * 1000 + i for i in range(20)], range(20))])
os.kill(os.getpid(), signal.SIGKILL)
"""
SENDING = Sending("stopped/0/1", "keeper", "phone", "Water has stopped", "First: look.", "critical", "first", 1_000)


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A site with a store of five readings, a message that is not sent, and a backup of it."""
    (tmp_path / "site.toml").write_text(SITE)
    with Store(tmp_path / "tidebed.sqlite", [POINT]) as store:
        store.commit([block(POINT.id, range(5), range(5))], owed=[SENDING])
        store.backup(tmp_path / "backup.sqlite")
    return tmp_path / "site.toml"


def restored(site: Path, backup: str = "backup.sqlite") -> int:
    """The exit code of the command."""
    return main(["restore", str(site), "--from", str(site.with_name(backup))])


def readings(path: Path) -> int:
    """How many the store holds."""
    with StoreReader(path) as store:
        return sum(len(part) for part in store.read(POINT.id, -1, 2**62))


def test_a_killed_daemons_write_ahead_log_does_not_damage_the_backup(site: Path) -> None:
    """It is kept with the former store, which stays what it was, and is no part of the new one."""
    store = site.with_name("tidebed.sqlite")
    killed = subprocess.run([sys.executable, "-c", KILLED, store], cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)})
    assert killed.returncode == -signal.SIGKILL
    assert store.with_name("tidebed.sqlite-wal").stat().st_size > 100_000
    assert restored(site) == 0
    assert readings(store) == 5
    with Store(store, [POINT]) as opened:
        assert opened.commit([block(POINT.id, [10_000], [1])]).readings == 1
    (former,) = (path for path in site.parent.glob("tidebed.sqlite.before-*") if path.suffix.count("-") == 1)
    assert readings(former) == 5 + 295 * 20


def test_what_was_unsent_in_a_backup_says_that_it_may_be_a_repeat(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It may have been sent since; and the command tells it."""
    assert restored(site) == 0
    with StoreReader(site.with_name("tidebed.sqlite")) as store:
        assert [(s.state, s.uncertain) for s in store.unsent()] == [(State.OWED, True)]
    said = capsys.readouterr().out
    assert "1 messages that were unsent then are sent again, marked as possible repeats" in said
    assert "nothing judged yet" in said


def test_a_store_that_is_gone_is_put_back(site: Path) -> None:
    """There is nothing to keep then."""
    store = site.with_name("tidebed.sqlite")
    store.unlink()
    assert restored(site) == 0
    assert readings(store) == 5
    assert not list(site.parent.glob("*.before-*"))


def test_nothing_changes_while_a_daemon_owns_the_store(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The keeper is told to stop it."""
    with Store(site.with_name("tidebed.sqlite"), [POINT]) as store:
        assert restored(site) == 2
        assert store.commit([block(POINT.id, [9], [9])]).readings == 1
    assert "stop it first" in capsys.readouterr().err
    assert not list(site.parent.glob("*.before-*"))


def test_a_damaged_backup_is_refused_and_the_store_stays(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One whose sealed day is not what was written, one that is no store, and one that is not there."""
    store = site.with_name("tidebed.sqlite")
    with Store(store, [POINT]) as opened:
        assert opened.seal_step(3 * DAY) is not None
        opened.backup(site.with_name("bad.sqlite"))
    spoilt = Connection(site.with_name("bad.sqlite"))
    spoilt.run("UPDATE block SET columns = zeroblob(length(columns))")
    spoilt.close()
    site.with_name("letter.txt").write_text("dear fish " * 1000)
    before = store.read_bytes()
    for name, why in (
        ("bad.sqlite", "is damaged itself (1970-01-01 of tank.temperature); name an earlier backup"),
        ("letter.txt", "is damaged or no store"),
        ("gone.sqlite", "there is no store at"),
        ("tidebed.sqlite", "is the store itself"),
    ):
        assert restored(site, name) == 2
        assert why in capsys.readouterr().err
    assert store.read_bytes() == before
    assert not list(site.parent.glob("*.part"))


def test_a_backup_of_a_store_with_a_damaged_day_is_made_and_ends_in_one(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What came since is in it; what is damaged is named, so that earlier backups are kept."""
    store = site.with_name("tidebed.sqlite")
    with Store(store, [POINT]) as opened:
        assert opened.seal_step(3 * DAY) is not None
    spoilt = Connection(store)
    spoilt.run("UPDATE block SET columns = zeroblob(length(columns))")
    spoilt.close()
    assert main(["backup", str(site), "--out", str(site.with_name("second.sqlite"))]) == 1
    assert "1970-01-01 of tank.temperature" in capsys.readouterr().err
    assert site.with_name("second.sqlite").exists()


@pytest.mark.parametrize(
    ("spoil", "command"),
    [
        ("UPDATE checkpoint SET state = x'789c0102'", "now"),
        ("UPDATE checkpoint SET state = x'789c4b4c0400012700c3'", "now"),
        ("INSERT INTO event (t, type, line) VALUES (1, 'act', '{\"who')", "log"),
        ("INSERT INTO event (t, type, line) VALUES (1, 'act', CAST(x'7bff' AS TEXT))", "log"),
    ],
)
def test_damage_within_a_value_is_told_like_any_other(
    site: Path, capsys: pytest.CaptureFixture[str], spoil: str, command: str
) -> None:
    """No traceback: what is damaged, and how to mend it."""
    with Store(site.with_name("tidebed.sqlite"), [POINT]) as store:
        store.commit(checkpoint={"now": 1})
    spoilt = Connection(site.with_name("tidebed.sqlite"))
    spoilt.run(spoil)
    spoilt.close()
    assert main([command, str(site)]) == 2
    assert "stop the daemon and put the last backup in its place (tidebed restore)" in capsys.readouterr().err


def test_a_former_store_of_the_same_second_is_not_lost(site: Path) -> None:
    """Two restores, one after the other."""
    assert restored(site) == 0
    assert restored(site) == 0
    assert len(list(site.parent.glob("tidebed.sqlite.before-*"))) == 2
