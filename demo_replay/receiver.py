"""What would reach a phone? A small HTTP service on loopback that takes in what a notifier posts to it as JSON."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Self, cast

LARGEST_BODY = 65_536
"""Bytes; a message of more is refused unread."""
PATIENCE = 30.0
"""Seconds that a sender may take for one request, and that a hanging answer is held back at most."""


class Conduct(StrEnum):
    """How the receiver treats what comes."""

    ACCEPT = "accept"
    REFUSE = "refuse"
    """Answers 403: it will never take this message."""
    FAIL = "fail"
    """Answers 500: it took the message in and something broke."""
    HANG = "hang"
    """Takes the message in and says nothing until told to behave otherwise, then hangs up."""
    DROP = "drop"
    """Takes the message in and hangs up without an answer."""


_STATUS = {Conduct.ACCEPT: 200, Conduct.REFUSE: 403, Conduct.FAIL: 500}


@dataclass(frozen=True, slots=True)
class Received:
    """One message that came whole. to: whose phone (see Receiver.address); at: monotonic seconds."""

    to: str
    message_id: str
    title: str
    body: str
    at: float
    conduct: Conduct
    """How it was treated."""


Heard = Callable[[Received], None]
"""Called on the server's thread with each message, before it is answered."""


class Receiver:
    """Listens on a free port of 127.0.0.1 while it is entered.

    Takes the fields `title`, `message` and `message_id` (or the header `X-Message-Id`) of a JSON object.
    """

    def __init__(self, heard: Heard = lambda message: None, *, port: int = 0) -> None:
        """port: 0 for a free one. Raises OSError where the port is taken."""
        self._heard = heard
        self._changed = threading.Condition()
        self._conduct = Conduct.ACCEPT
        self._open = True
        self._received: list[Received] = []
        self._faulty = 0
        self._server = _Server(("127.0.0.1", port), _Handler)
        self._server.owner = self
        self.port: int = self._server.server_port
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, name="receiver", daemon=True
        )
        self._thread.start()

    def address(self, to: str = "phone") -> str:
        """The address of a phone called `to` (letters, digits and `_`), as apprise understands it."""
        return f"json://127.0.0.1:{self.port}/{to}"

    @property
    def received(self) -> list[Received]:
        """Every message that came whole, however it was treated, in order."""
        with self._changed:
            return list(self._received)

    @property
    def faulty(self) -> int:
        """How many requests held no message: too large, no JSON, no text."""
        return self._faulty

    def behave(self, conduct: Conduct) -> None:
        """Treat what comes from now on so; answers that hang are let go."""
        with self._changed:
            self._conduct = conduct
            self._changed.notify_all()

    def wait_for(self, count: int, timeout: float = 30.0) -> bool:
        """Whether so many messages have come in all within `timeout` seconds."""
        with self._changed:
            return self._changed.wait_for(lambda: len(self._received) >= count, timeout)

    def close(self) -> None:
        """Stop listening; idempotent."""
        if not self._open:
            return
        with self._changed:
            self._open = False
            self._changed.notify_all()
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def take(self, to: str, message_id: str, title: str, body: str) -> int | None:
        """Note one message; gives the status to answer, or None to hang up. Called by the handler."""
        with self._changed:
            conduct = self._conduct
            message = Received(to, message_id, title, body, time.monotonic(), conduct)
            self._received.append(message)
            self._changed.notify_all()
        self._heard(message)
        if conduct is Conduct.HANG:
            with self._changed:
                self._changed.wait_for(lambda: self._conduct is not Conduct.HANG or not self._open, PATIENCE)
        return _STATUS.get(conduct)

    def refuse(self) -> None:
        """Count one request that held no message. Called by the handler."""
        with self._changed:
            self._faulty += 1
            self._changed.notify_all()


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    owner: Receiver


class _Handler(BaseHTTPRequestHandler):
    timeout = PATIENCE

    def do_POST(self) -> None:
        """Take one message."""
        owner = cast(_Server, self.server).owner
        length = self.headers.get("Content-Length", "")
        fields = None
        if not (length.isascii() and length.isdigit()):
            status: int | None = 411
        elif int(length) > LARGEST_BODY:
            status = 413
        else:
            status = 400
            fields = _fields(self.rfile.read(int(length)))
        if fields is None:
            owner.refuse()
        else:
            message_id = fields.get("message_id") or self.headers.get("X-Message-Id", "")
            to = self.path.partition("?")[0].strip("/")
            status = owner.take(to, str(message_id), str(fields.get("title", "")), str(fields["message"]))
        if status is not None:
            self._answer(status)

    def _answer(self, status: int) -> None:
        self.send_response(status)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:
        """Nothing: the message itself is what is shown."""


def _fields(body: bytes) -> dict[str, Any] | None:
    """The fields of a message; None where the body holds none."""
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) and isinstance(found.get("message"), str) else None
