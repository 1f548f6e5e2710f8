"""How does a test get a real broker with the project's own settings, on the loopback and for itself alone?"""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.needs import program

SETTINGS = Path(__file__).parents[2] / "deploy" / "mosquitto"
PASSWORDS = {"tidebed": "keeper", "bed_box": "box", "keeper_phone": "phone", "siren_box": "siren"}
UNTIL = 20.0
"""Seconds after which waiting for the broker is given up."""


@dataclass(slots=True)
class Broker:
    """Settings in a folder of their own, and the process while it runs."""

    folder: Path
    port: int
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start and wait until it takes connections."""
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [program("mosquitto"), "-c", str(self.folder / "mosquitto.conf")], stdout=log, stderr=log
            )
        end = time.monotonic() + UNTIL
        while True:
            with contextlib.suppress(ConnectionRefusedError), socket.create_connection(("127.0.0.1", self.port), 1):
                return
            if self.process.poll() is not None or time.monotonic() > end:
                raise RuntimeError((self.folder / "log").read_text())
            time.sleep(0.02)

    def stop(self) -> None:
        """As at a shutdown: it writes what it holds."""
        if self.process is not None:
            self.process.send_signal(signal.SIGTERM)
            self.process.wait(UNTIL)
            self.process = None


def free_port() -> int:
    """A port of the loopback that nobody listens on."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@contextlib.contextmanager
def broker(folder: Path) -> Iterator[Broker]:
    """A broker as Debian sets it up, with deploy/mosquitto/tidebed.conf beside; only paths and port are the test's."""
    program("mosquitto")
    port = free_port()
    shutil.copy(SETTINGS / "tidebed.acl", folder / "tidebed.acl")
    ours = (SETTINGS / "tidebed.conf").read_text(encoding="utf-8")
    ours = ours.replace("/etc/mosquitto/", f"{folder}/").replace("listener 1883 ", f"listener {port} ")
    (folder / "conf.d").mkdir()
    (folder / "conf.d" / "tidebed.conf").write_text(ours, encoding="utf-8")
    user = pwd.getpwuid(os.getuid()).pw_name
    (folder / "mosquitto.conf").write_text(
        f"persistence true\npersistence_location {folder}/\nlog_dest stderr\nuser {user}\ninclude_dir {folder}/conf.d\n"
    )
    passwords = folder / "tidebed.passwd"
    passwords.touch(mode=0o600)
    for name, password in PASSWORDS.items():
        subprocess.run([program("mosquitto_passwd", "mosquitto"), "-b", passwords, name, password], check=True)
    made = Broker(folder, port)
    made.start()
    try:
        yield made
    finally:
        made.stop()
