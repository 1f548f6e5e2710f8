"""Does the store say what is wrong and how to mend it, and lose nothing?"""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from daemon.store import Store, StoreReader, hand_in
from daemon.store.connection import Connection
from daemon.store.errors import (
    StoreBusy,
    StoreDamaged,
    StoreError,
    StoreFull,
    StoreMissing,
    StoreReadOnly,
)
from rules.acts import Act, ActKind
from rules.block import block
from rules.durations import DAY
from rules.errors import TidebedError

from .conftest import WATER

MIDNIGHT = 20_547 * DAY
ROOT = Path(__file__).parents[3]


def some(start: int, count: int) -> list[int]:
    """Times a second apart."""
    return list(range(start, start + count * 1000, 1000))


def test_a_full_disk_refuses_the_commit_whole(store: Store) -> None:
    """What was stored stays, the refused commit leaves nothing, and once there is room the same commit goes in."""
    store.commit([block(WATER.id, [1], [1])])
    store._connection.run("PRAGMA max_page_count = 40")
    many = block(WATER.id, some(MIDNIGHT, 20_000), range(20_000))
    with pytest.raises(StoreFull, match=r"no room left to write .*store.sqlite; free some space"):
        store.commit([many])
    assert [part.times.tolist() for part in store.read(WATER.id, 0, 2**62)] == [[1]]
    store._connection.run("PRAGMA max_page_count = 1000000")
    assert store.commit([many]).readings == 20_000


def test_a_full_disk_stops_sealing_without_loss(store: Store) -> None:
    """The day stays rows."""
    rng = random.Random(1)
    store.commit([block(WATER.id, some(MIDNIGHT, 3000), [rng.randrange(2**40) for _ in range(3000)])])
    pages = store._connection.value("PRAGMA page_count")
    store._connection.run(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(StoreFull):
        store.seal_step(MIDNIGHT + 3 * DAY)
    assert sum(len(part) for part in store.read(WATER.id, 0, 2**62)) == 3000


def test_a_reader_cannot_write(store: Store) -> None:
    """Its view is read-only, and the error says so."""
    connection = Connection(store.path, read_only=True)
    with pytest.raises(StoreReadOnly, match="cannot be written; see that its disk is mounted read-write"):
        connection.run("DELETE FROM reading")
    connection.close()


def test_a_missing_store_is_named(path: Path) -> None:
    """A reader does not make one."""
    with pytest.raises(StoreMissing, match=r"no store at .*store\.sqlite; it appears once the daemon has run"):
        StoreReader(path)
    assert not path.exists()


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    """For a writer, too."""
    with pytest.raises(StoreMissing, match="No such file or directory; see that its folder exists"):
        Store(tmp_path / "nowhere" / "store.sqlite")


def test_a_file_that_is_no_database_is_named(path: Path) -> None:
    """And left as it is."""
    path.write_text("a letter to the keeper, longer than the header of a database by far " * 20)
    with pytest.raises(StoreDamaged, match=r"damaged or no store .*put the last backup in its place"):
        Store(path)
    with pytest.raises(StoreDamaged):
        StoreReader(path)
    assert path.read_text().startswith("a letter")


def test_a_damaged_page_is_an_error_not_a_value(store: Store, path: Path) -> None:
    """A table whose pages were overwritten."""
    store.commit([block(WATER.id, some(MIDNIGHT, 5000), range(5000))])
    store.close()
    data = bytearray(path.read_bytes())
    data[8192:] = b"\x55" * (len(data) - 8192)
    path.write_bytes(data)
    with pytest.raises(StoreDamaged, match="damaged"), StoreReader(path) as reader:
        list(reader.read(WATER.id, 0, 2**62))


def test_a_damaged_sealed_day_names_point_and_day(store: Store, path: Path) -> None:
    """A block whose checksum does not fit any more."""
    store.commit([block(WATER.id, some(MIDNIGHT, 50), range(50))])
    assert store.seal_step(MIDNIGHT + 2 * DAY) is not None
    connection = Connection(path)
    connection.run("UPDATE block SET columns = zeroblob(length(columns))")
    connection.close()
    with pytest.raises(StoreDamaged, match=r"sealed day 2026-04-04 of tank\.temperature .*checksum"):
        list(store.read(WATER.id, 0, 2**62))


def test_two_daemons_cannot_own_one_store(store: Store, path: Path) -> None:
    """The second is told; after the first has closed it may."""
    with pytest.raises(StoreBusy, match=r"another daemon owns the store .*stop it first"):
        Store(path)
    store.close()
    Store(path).close()


def test_a_store_that_another_process_holds_is_waited_for_and_then_named(store: Store, path: Path) -> None:
    """A short wait, then an error that says so."""
    holder = Connection(path)
    waiter = Connection(path, patience=0.01)
    with holder.transaction(), pytest.raises(StoreBusy, match="held by another process"), waiter.transaction():
        pass
    with waiter.transaction():
        pass
    holder.close()
    waiter.close()


def test_every_error_is_of_the_family(path: Path) -> None:
    """A command line can catch them by one name."""
    assert issubclass(StoreError, TidebedError)
    with pytest.raises(TidebedError):
        StoreReader(path)


def test_closing_twice_is_no_error(store: Store) -> None:
    """Idempotent."""
    store.close()
    store.close()


ASIDE = """
import sys
from pathlib import Path
from daemon.store import StoreReader, hand_in
from rules.acts import Act, ActKind
path = Path(sys.argv[1])
with StoreReader(path) as reader:
    print(sum(len(part) for point in reader.points() for part in reader.read(point, 0, 2**62)), len(reader.events()))
hand_in(path, Act(7, ActKind.RESET, "anna", rule="tank.warm"))
"""


def test_another_process_reads_and_hands_in_while_the_daemon_runs(store: Store, path: Path) -> None:
    """As `tidebed now` and `tidebed ack` do."""
    store.commit([block(WATER.id, [1, MIDNIGHT], [1, 2])])
    assert store.seal_step(DAY * 3) is not None
    aside = subprocess.run(
        [sys.executable, "-c", ASIDE, str(path)],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT)},
    )
    assert aside.stdout == "2 0\n"
    assert [act for _, act in store.inbox()] == [Act(7, ActKind.RESET, "anna", rule="tank.warm")]
    store.commit([block(WATER.id, [MIDNIGHT + 1], [3])])


def test_a_store_is_read_when_no_daemon_runs(store: Store, path: Path) -> None:
    """After a clean end, when the write-ahead log is gone."""
    store.commit([block(WATER.id, [1], [1])])
    store.close()
    with StoreReader(path) as reader:
        assert reader.points() == [WATER.id]
    hand_in(path, Act(1, ActKind.NOTE))


def test_a_backup_is_a_whole_store_as_of_one_moment(store: Store, path: Path, tmp_path: Path) -> None:
    """One lone file that opens like the original; a later backup takes its place."""
    copy = tmp_path / "backup.sqlite"
    store.commit([block(WATER.id, some(MIDNIGHT, 100), range(100))])
    store.backup(copy)
    store.commit([block(WATER.id, [1], [1])])
    with StoreReader(copy) as reader:
        assert [len(part) for part in reader.read(WATER.id, 0, 2**62)] == [100]
    with StoreReader(path) as beside:
        beside.backup(copy)
    with Store(copy, [WATER]) as restored:
        assert sum(len(part) for part in restored.read(WATER.id, 0, 2**62)) == 101
    assert sorted(p.name for p in tmp_path.iterdir() if "backup" in p.name) == ["backup.sqlite", "backup.sqlite.lock"]


def test_a_backup_to_nowhere_is_named_and_leaves_the_store(store: Store, tmp_path: Path) -> None:
    """The folder is missing."""
    with pytest.raises(StoreMissing, match="cannot be opened"):
        store.backup(tmp_path / "nowhere" / "backup.sqlite")
    store.commit([block(WATER.id, [1], [1])])
