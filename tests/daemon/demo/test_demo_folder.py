"""Does the demonstration keep to its own folder, and make everything in it anew?"""

from __future__ import annotations

from pathlib import Path

import pytest

from adapters.mqtt.settings import MqttSettings
from daemon.demo.folder import FolderRefused, demo_folder, shown_path, write_site
from daemon.site.load import load_site
from demo_replay import days
from demo_replay.broker import HOST
from demo_replay.player import CLOCK_TOPIC


def test_a_new_folder_is_made_with_the_day_and_its_labels(tmp_path: Path) -> None:
    """The recording and its labels are copies of the shipped ones, under their own names."""
    with demo_folder(tmp_path / "made" / "here", "frost") as folder:
        assert folder.recording.read_bytes() == days.path("frost").read_bytes()
        assert folder.labels.read_bytes() == days.labels_path("frost").read_bytes()
        assert "Made by `tidebed demo`" in (folder.root / "README.txt").read_text(encoding="utf-8")


def test_the_site_file_hears_the_demo_broker_and_is_otherwise_the_shipped_one(tmp_path: Path) -> None:
    """Its adapter has the broker's address and the played clock; the plan is that of the shipped site file."""
    with demo_folder(tmp_path, "pump_trip") as folder:
        write_site(folder, 23_456)
        made = load_site(folder.site)
    settings = made.adapters["mqtt"].settings
    assert isinstance(settings, MqttSettings)
    assert (settings.host, settings.port, settings.clock_topic) == (HOST, 23_456, CLOCK_TOPIC)
    assert made.plan == load_site(days.SITE).plan
    assert made.store_path == folder.store.resolve()


def test_what_an_earlier_demonstration_left_is_made_anew(tmp_path: Path) -> None:
    """Its store, logs and picture are gone, of another day too; a file that somebody added stays."""
    with demo_folder(tmp_path, "frost") as folder:
        frost = folder
        for path in (folder.store, folder.log, folder.picture, folder.root / "tidebed.sqlite-wal"):
            path.write_text("old")
        folder.broker.mkdir()
        (folder.broker / "broker.log").write_text("old")
        (tmp_path / "notes.txt").write_text("mine")
    with demo_folder(tmp_path, "hot") as folder:
        left = {path.name for path in tmp_path.iterdir()}
    assert left == {"README.txt", "notes.txt", folder.recording.name, folder.labels.name}
    assert not frost.recording.exists()


def test_other_peoples_files_are_not_touched(tmp_path: Path) -> None:
    """A folder that holds anything else is refused, and is left as it is."""
    (tmp_path / "site.toml").write_text("mine")
    with pytest.raises(FolderRefused, match="holds other files, and nothing is overwritten; name a new folder"):
        demo_folder(tmp_path, "hot").__enter__()
    assert [path.name for path in tmp_path.iterdir()] == ["site.toml"]
    assert (tmp_path / "site.toml").read_text() == "mine"


@pytest.mark.parametrize("content", [b"", b"Made by somebody else\n", b"\xff\xfe"])
def test_a_readme_of_others_does_not_make_it_ours(tmp_path: Path, content: bytes) -> None:
    """Only the first line that the demonstration writes tells its folder."""
    (tmp_path / "README.txt").write_bytes(content)
    with pytest.raises(FolderRefused):
        demo_folder(tmp_path, "hot").__enter__()


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    """It is said, and the file stays."""
    (tmp_path / "file").write_text("mine")
    with pytest.raises(FolderRefused, match="is a file"):
        demo_folder(tmp_path / "file", "hot").__enter__()


def test_two_demonstrations_do_not_share_a_folder(tmp_path: Path) -> None:
    """The second is refused while the first runs, and may have it afterwards."""
    with (
        demo_folder(tmp_path, "hot"),
        pytest.raises(FolderRefused, match="another `tidebed demo` runs in"),
        demo_folder(tmp_path, "hot"),
    ):
        pass
    with demo_folder(tmp_path, "hot") as folder:
        assert folder.recording.exists()


def test_a_path_is_shown_as_short_as_it_can_be_typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Below the present folder without what leads there, elsewhere as it stands."""
    monkeypatch.chdir(tmp_path)
    assert shown_path(tmp_path / "tidebed-demo" / "day.png") == "tidebed-demo/day.png"
    assert shown_path(tmp_path.parent / "other") == str(tmp_path.parent / "other")
