"""Which message broker does a demonstration run on? Mosquitto where it is installed, else amqtt, on loopback alone."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Self

from rules.errors import TidebedError

HOST = "127.0.0.1"
KINDS = ("mosquitto", "amqtt")
"""In the order in which they are looked for."""
_TRIES = 3
_START_WITHIN, _STOP_WITHIN = 15.0, 10.0
"""Seconds."""


class BrokerFailed(TidebedError):
    """No broker could be started."""


class Broker:
    """A broker on a port of 127.0.0.1 that keeps its files in a folder; anyone on this machine may use it.

    `start` and `stop` may be called again and again: the port stays, and so does what mosquitto keeps for others.
    """

    def __init__(self, folder: Path, kind: str | None = None, port: int | None = None) -> None:
        """kind: one of KINDS, left out the first that is installed; port: left out, a free one. Raises BrokerFailed."""
        self.kind = installed() if kind is None else kind
        self._given = port is not None
        self.port = free_port() if port is None else port
        self._folder = folder.resolve()
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Returns when it takes connections. Raises BrokerFailed with what the broker said."""
        self._folder.mkdir(parents=True, exist_ok=True)
        for _ in range(_TRIES):
            if not _is_free(self.port):
                # Whoever listens there would be taken for the broker.
                raise BrokerFailed(f"something else uses {HOST}:{self.port}; end it, or name another port")
            command = self._mosquitto() if self.kind == "mosquitto" else self._amqtt()
            with (self._folder / "broker.log").open("ab") as log:
                self._process = subprocess.Popen(
                    command, stdin=subprocess.DEVNULL, stdout=log, stderr=log, cwd=self._folder, start_new_session=True
                )
            if self._listens(self._process):
                return
            self.stop()
            if self._given:
                break
            # Somebody else may have taken the port since it was found free.
            self.port = free_port()
        raise BrokerFailed(f"{self.kind} does not start on {HOST}:{self.port}; it says: {self._last_words()}")

    def stop(self) -> None:
        """End it; idempotent."""
        if self._process is None:
            return
        self._process.terminate()
        try:
            self._process.wait(_STOP_WITHIN)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._process = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _listens(self, process: subprocess.Popen[bytes]) -> bool:
        """Whether it takes connections in the end."""
        until = time.monotonic() + _START_WITHIN
        while time.monotonic() < until:
            if process.poll() is not None:
                return False
            try:
                socket.create_connection((HOST, self.port), timeout=1).close()
            except OSError:
                time.sleep(0.02)
            else:
                return process.poll() is None
        return False

    def _last_words(self) -> str:
        lines = (self._folder / "broker.log").read_text(encoding="utf-8", errors="replace").splitlines()
        return " / ".join(lines[-3:]) or "nothing"

    def _mosquitto(self) -> Sequence[str]:
        settings = [
            f"listener {self.port} {HOST}",
            "allow_anonymous true",
            "persistence true",
            f"persistence_location {self._folder}/",
            # A day played fast runs ahead of whoever reads it: nothing may be dropped for that.
            "max_queued_messages 0",
            "max_inflight_messages 0",
            "set_tcp_nodelay true",
            "log_type error",
            "log_type warning",
        ]
        if os.geteuid() == 0:
            # Else it becomes a user who may not write in this folder.
            settings.append("user root")
        file = self._folder / "mosquitto.conf"
        file.write_text("\n".join(settings) + "\n", encoding="utf-8")
        return _found_mosquitto() or "mosquitto", "-c", str(file)

    def _amqtt(self) -> Sequence[str]:
        settings = {
            "listeners": {"default": {"type": "tcp", "bind": f"{HOST}:{self.port}"}},
            "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
        }
        file = self._folder / "amqtt.yaml"
        # Every JSON text is YAML.
        file.write_text(json.dumps(settings, indent=1) + "\n", encoding="utf-8")
        return sys.executable, "-m", "amqtt.scripts.broker_script", "-c", str(file)


def installed() -> str:
    """The first of KINDS that is installed. Raises BrokerFailed that says how to get one."""
    if _found_mosquitto() is not None:
        return "mosquitto"
    if importlib.util.find_spec("amqtt") is not None:
        return "amqtt"
    raise BrokerFailed(
        "there is no message broker on this machine; `pip install amqtt` or `sudo apt-get install mosquitto` gets one"
    )


def free_port() -> int:
    """A TCP port of loopback that nobody listens on at this moment."""
    with socket.socket() as held:
        held.bind((HOST, 0))
        port: int = held.getsockname()[1]
    return port


def _is_free(port: int) -> bool:
    with socket.socket() as held:
        # Connections that have just ended do not count.
        held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            held.bind((HOST, port))
        except OSError:
            return False
    return True


def _found_mosquitto() -> str | None:
    # Debian puts it where the PATH of a plain user does not look.
    return shutil.which("mosquitto", path=f"{os.environ.get('PATH', os.defpath)}:/usr/sbin:/usr/local/sbin")
