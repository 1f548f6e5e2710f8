"""Which message brokers do tests talk to? Mosquitto on a free loopback port, and one that knows MQTT 3.1.1 alone."""

from __future__ import annotations

import contextlib
import os
import pwd
import socket
import struct
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.needs import program
from tests.waiting import LIMIT, until


def free_port() -> int:
    """A loopback port on which nobody listens."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


class Broker:
    """A mosquitto of the test's own, with its own defaults except for `settings`."""

    def __init__(self, folder: Path, settings: str = "allow_anonymous true") -> None:
        self.program = program("mosquitto")
        self.port = free_port()
        self._folder = folder
        self._settings = settings
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it takes connections."""
        user = pwd.getpwuid(os.getuid()).pw_name
        config = self._folder / "mosquitto.conf"
        config.write_text(
            f"listener {self.port} 127.0.0.1\npersistence true\npersistence_location {self._folder}/\n"
            f"log_dest stderr\nuser {user}\n{self._settings}\n"
        )
        with (self._folder / "mosquitto.log").open("ab") as log:
            self._process = subprocess.Popen([self.program, "-c", str(config)], stdout=log, stderr=log)
        until(self._answers)

    def _answers(self) -> bool:
        assert self._process is not None
        assert self._process.poll() is None, (self._folder / "mosquitto.log").read_text()
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1):
            return True
        return False

    def stop(self) -> None:
        """End it as at a shutdown: it writes what it holds."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(LIMIT)
            self._process = None


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A running mosquitto; the test is skipped by name where it is not installed."""
    folder = tmp_path / "broker"
    folder.mkdir()
    made = Broker(folder)
    made.start()
    try:
        yield made
    finally:
        made.stop()


class OldBroker:
    """A broker that knows MQTT 3.1.1 alone: it takes one client at a time and answers what that client must hear.

    says: `refuse` answers a newer protocol with return code 1 as 3.1.1 demands, `hang up` ends the connection,
    `nothing` leaves it open without a word.
    granted: the answer to every topic of a subscription (0x80: refused).
    """

    def __init__(self, says: str = "refuse", granted: int = 1) -> None:
        self._says = says
        self._granted = granted
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(LIMIT)
        self.port = int(self._listener.getsockname()[1])
        self.levels: list[int] = []
        self.subscribed: list[str] = []
        self.acknowledged: list[int] = []
        self._client: socket.socket | None = None
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def publish(self, topic: str, payload: bytes, mid: int) -> None:
        """Send a message at QoS 1."""
        assert self._client is not None
        body = struct.pack("!H", len(topic)) + topic.encode() + struct.pack("!H", mid) + payload
        self._client.sendall(b"\x32" + bytes([len(body)]) + body)

    def close(self) -> None:
        """Stop listening and end the connection."""
        # Closing alone does not wake an accept that waits on another thread.
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        if self._client is not None:
            with contextlib.suppress(OSError):
                self._client.shutdown(socket.SHUT_RDWR)
        self._thread.join(LIMIT)
        self._listener.close()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                client, _ = self._listener.accept()
                with client, contextlib.suppress(OSError, EOFError):
                    client.settimeout(LIMIT)
                    self._client = client
                    self._converse(client)

    def _converse(self, client: socket.socket) -> None:
        while True:
            kind, body = _packet(client)
            if kind == 0x10:  # CONNECT: two bytes of length, "MQTT", the level
                self.levels.append(body[6])
                if body[6] != 4:
                    if self._says == "refuse":
                        client.sendall(b"\x20\x02\x00\x01")
                    if self._says == "nothing":
                        continue
                    return
                client.sendall(b"\x20\x02\x00\x00")
            elif kind == 0x80:  # SUBSCRIBE
                place, topics = 2, 0
                while place < len(body):
                    (length,) = struct.unpack_from("!H", body, place)
                    self.subscribed.append(body[place + 2 : place + 2 + length].decode())
                    place, topics = place + 3 + length, topics + 1
                client.sendall(b"\x90" + bytes([2 + topics]) + body[:2] + bytes([self._granted]) * topics)
            elif kind == 0x30:  # PUBLISH; with QoS 1 it wants an acknowledgement
                (length,) = struct.unpack_from("!H", body)
                client.sendall(b"\x40\x02" + body[2 + length : 4 + length])
            elif kind == 0x40:  # PUBACK
                self.acknowledged.append(struct.unpack("!H", body)[0])
            elif kind == 0xC0:  # PINGREQ
                client.sendall(b"\xd0\x00")
            elif kind == 0xE0:  # DISCONNECT
                return


def _packet(client: socket.socket) -> tuple[int, bytes]:
    first = _exactly(client, 1)[0]
    length, shift = 0, 0
    while True:
        part = _exactly(client, 1)[0]
        length |= (part & 127) << shift
        shift += 7
        if part < 128:
            return first & 0xF0, _exactly(client, length)


def _exactly(client: socket.socket, size: int) -> bytes:
    read = b""
    while len(read) < size:
        more = client.recv(size - len(read))
        if not more:
            raise EOFError
        read += more
    return read
