"""What does the demonstration put into its folder, and whose folder is it?"""

from __future__ import annotations

import contextlib
import fcntl
import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import tomlkit
from tomlkit.items import Table

from demo_replay import days
from demo_replay.broker import HOST
from demo_replay.kinds import RECORDED
from demo_replay.player import CLOCK_TOPIC
from rules.errors import TidebedError

_README = "README.txt"
_MADE_BY = "Made by `tidebed demo`, and made anew each time it runs here."
_STORE = "tidebed.sqlite"


class FolderRefused(TidebedError):
    """The folder belongs to somebody else, or to another demonstration that runs."""


@dataclass(frozen=True, slots=True)
class DemoFolder:
    """The files of one demonstration; all of them are in `root`."""

    root: Path
    kind: str

    @property
    def site(self) -> Path:
        """The site file that the daemon runs by."""
        return self.root / "site.toml"

    @property
    def recording(self) -> Path:
        """The day that is played."""
        return self.root / days.path(self.kind).name

    @property
    def labels(self) -> Path:
        """What is marked in it."""
        return self.root / days.labels_path(self.kind).name

    @property
    def store(self) -> Path:
        """What the daemon heard and said."""
        return self.root / _STORE

    @property
    def log(self) -> Path:
        """What the daemon said about itself."""
        return self.root / "daemon.log"

    @property
    def picture(self) -> Path:
        """The day, drawn."""
        return self.root / "day.png"

    @property
    def broker(self) -> Path:
        """The broker's own files."""
        return self.root / "broker"


@contextlib.contextmanager
def demo_folder(root: Path, kind: str) -> Iterator[DemoFolder]:
    """A folder with nothing of an earlier demonstration in it, held for this one alone.

    Raises FolderRefused for a folder with other people's files in it, and while another demonstration runs there.
    """
    readme = root / _README
    if root.exists() and not root.is_dir():
        raise FolderRefused(f"{root} is a file; name a new folder with --folder")
    if root.is_dir() and any(root.iterdir()) and not _is_ours(readme):
        raise FolderRefused(f"{root} holds other files, and nothing is overwritten; name a new folder with --folder")
    root.mkdir(parents=True, exist_ok=True)
    folder = DemoFolder(root, kind)
    with readme.open("a+", encoding="utf-8") as held:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise FolderRefused(
                f"another `tidebed demo` runs in {root}; wait for it, or name another folder"
            ) from error
        _clear(root)
        held.truncate(0)
        held.write(_MADE_BY + "\n\n" + _CONTENTS)
        held.flush()
        shutil.copyfile(days.path(kind), folder.recording)
        shutil.copyfile(days.labels_path(kind), folder.labels)
        yield folder


def write_site(folder: DemoFolder, port: int) -> None:
    """Write the site file of the invented glasshouse, for a broker on a port of this machine and a played clock."""
    document = tomlkit.parse(days.SITE.read_text(encoding="utf-8"))
    adapters = document["adapter"]
    assert isinstance(adapters, Table)
    mqtt = adapters["mqtt"]
    assert isinstance(mqtt, Table)
    mqtt["host"], mqtt["port"], mqtt["clock_topic"] = HOST, port, CLOCK_TOPIC
    folder.site.write_text(tomlkit.dumps(document), encoding="utf-8")


def shown_path(path: Path) -> str:
    """A path as short as it can be typed from here."""
    relative = os.path.relpath(path)
    return str(path) if relative.startswith(os.pardir) else relative


def _is_ours(readme: Path) -> bool:
    try:
        with readme.open(encoding="utf-8") as file:
            return file.readline().rstrip("\n") == _MADE_BY
    except (OSError, UnicodeDecodeError):
        return False


def _clear(root: Path) -> None:
    """Take away what an earlier demonstration left, of whatever day, and nothing else."""
    for kind in RECORDED:
        earlier = DemoFolder(root, kind)
        for path in (earlier.site, earlier.recording, earlier.labels, earlier.log, earlier.picture, earlier.store):
            path.unlink(missing_ok=True)
    for beside in ("-wal", "-shm"):
        (root / f"{_STORE}{beside}").unlink(missing_ok=True)
    shutil.rmtree(DemoFolder(root, "").broker, ignore_errors=True)


_CONTENTS = """\
day.png          the day: values with their limits, alarms and decisions
site.toml        the site file: what is measured, the rules, who is told
*.csv.gz         the recorded day that was played (an invented place)
*.labels.csv     what really happened on it, as a person would mark it
tidebed.sqlite   what the daemon kept: readings, alarms, decisions, messages
daemon.log       what the daemon said about itself
broker/          files of the message broker
"""
