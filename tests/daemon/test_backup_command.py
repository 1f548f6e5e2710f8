"""Is a backup a whole store, and does it never overwrite another file?"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from daemon.main import main
from daemon.store import Store, StoreReader
from rules.block import block
from rules.plan import PointPlan

SITE = """
[[point]]
id = "tank.temperature"
quantity = "water_temperature"
unit = "degC"
resolution = 0.1
"""


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A site whose store holds two readings."""
    (tmp_path / "site.toml").write_text(SITE)
    point = PointPlan("tank.temperature", "water_temperature", "degC", Fraction(1, 10))
    store = Store(tmp_path / "tidebed.sqlite", [point])
    store.commit([block("tank.temperature", [1_000, 2_000], [201, 202])])
    store.close()
    return tmp_path / "site.toml"


def test_a_backup_holds_what_the_store_holds(site: Path) -> None:
    """Opened as a store of its own, it gives the same readings."""
    goal = site.with_name("copy.sqlite")
    assert main(["backup", str(site), "--out", str(goal)]) == 0
    with StoreReader(goal) as store:
        assert [b.values.tolist() for b in store.read("tank.temperature", 0, 10_000)] == [[201, 202]]


def test_a_file_that_is_there_is_not_overwritten(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It ends in 2, says so, and leaves the file as it was."""
    goal = site.with_name("letters.txt")
    goal.write_text("dear fish")
    assert main(["backup", str(site), "--out", str(goal)]) == 2
    assert "is there already; name a new file" in capsys.readouterr().err
    assert goal.read_text() == "dear fish"
