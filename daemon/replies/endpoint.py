"""How is a link answered? One small HTTP service with one route: looking shows the alarm, the button acknowledges it.

`GET /a/TOKEN` never changes anything, because programs that preview links call it. `POST /a/TOKEN` hands the act to the
loop by the store's inbox, as a command would. It speaks plain HTTP and belongs on the loopback, behind whatever carries
it to the phone encrypted.
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import io
import ipaddress
import logging
import socket
import socketserver
import sys
import threading
import time
from collections.abc import Callable
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler
from pathlib import Path
from typing import Any, cast

from daemon.replies.links import Token, make_token, read_token
from daemon.replies.page import STYLE, Page, alarm_page, expired_page, refused_page
from daemon.replies.subject import ASKS, Standing, subject_of
from daemon.store import Sending, StoreError, StoreReader, hand_in
from rules.acts import Act, ActKind
from rules.clock import Clock
from rules.local_time import Zone
from rules.plan import Plan
from rules.texts import Words

ROUTE = "/a/"
LARGEST_HEAD = 8_192
LARGEST_BODY = 1_024
"""Bytes; the button sends none."""
AT_ONCE = 8
"""Visitors at one time; one more is hung up on."""
PATIENCE = 10.0
"""Seconds in which a whole request must have come."""

_log = logging.getLogger("tidebed.replies")
_POLICY = (
    "default-src 'none'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'; style-src 'sha256-"
    + base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    + "'"
)


class Answers:
    """What a link shows and does, without a socket."""

    def __init__(self, store: Path, key: bytes, plan: Callable[[], Plan], clock: Clock) -> None:
        """store: the store's file; plan: as the site file has it now."""
        self._store, self._key, self._plan, self._clock = store, key, plan, clock
        self._one_at_a_time = threading.Lock()

    def answer(self, method: str, address: str) -> Page:
        """The page for a request; `POST` also hands the act in where the alarm waits for somebody."""
        # Mail and messengers hang words of their own on an address.
        path = address.partition("?")[0]
        token = read_token(path.removeprefix(ROUTE)) if path.startswith(ROUTE) else None
        if token is None:
            return self.refused(HTTPStatus.NOT_FOUND)
        if method not in ("GET", "HEAD", "POST"):
            return self.refused(HTTPStatus.METHOD_NOT_ALLOWED)
        # Two quick presses of the button must not both find the alarm waiting.
        with self._one_at_a_time, StoreReader(self._store) as store:
            sending = self._signed(store, token)
            if sending is None:
                return self.refused(HTTPStatus.NOT_FOUND)
            now, plan = self._clock.now(), self._plan()
            words = Words(plan.texts)
            if now >= token.end:
                return expired_page(words, plan.name)
            subject = subject_of(store, sending)
            if method == "POST" and subject.standing is Standing.WAITING:
                self._acknowledge(sending, subject.since)
                subject = subject._replace(standing=Standing.NOTED)
        return alarm_page(subject, words, plan.name, Zone(plan.timezone), now)

    def refused(self, status: HTTPStatus) -> Page:
        """The page for a request that is not answered."""
        return refused_page(status, Words(self._plan().texts))

    def _signed(self, store: StoreReader, token: Token) -> Sending | None:
        sending = store.sending(token.number)
        # Compared in every case, so that the time taken does not tell which numbers exist.
        right = token.is_signed(self._key, "" if sending is None else sending.message_id)
        return sending if right else None

    def _acknowledge(self, sending: Sending, since: int) -> None:
        act = Act(
            self._clock.now(),
            ActKind.ACKNOWLEDGE,
            sending.person,
            sending.rule,
            sending.side,
            text="by link",
            data={"since": str(since)},
        )
        hand_in(self._store, act)
        _log.info("%s has seen %s (%s), by the link of a message", sending.person, sending.rule, sending.side)


class LinkMaker:
    """Makes the line that a message carries."""

    def __init__(self, base: str, key: bytes, valid: int, plan: Callable[[], Plan]) -> None:
        """base: the address under which phones reach the endpoint; valid: ms; plan: as the site file has it now."""
        self._base, self._key, self._valid, self._plan = base.rstrip("/"), key, valid, plan

    def __call__(self, sending: Sending, now: int) -> str:
        """The line, or "" for a message that asks for nothing. now: ms UTC, the instant of sending."""
        if not sending.rule or sending.purpose not in ASKS:
            return ""
        token = make_token(self._key, sending.number, sending.message_id, now + self._valid)
        return Words(self._plan().texts).say("seen", link=f"{self._base}{ROUTE}{token}")


class Endpoint:
    """The service on a socket, with threads of its own."""

    def __init__(self, host: str, port: int, answers: Answers) -> None:
        """port: 0 for a free one. Raises OSError where it cannot listen there."""
        self._server = _Server(host, port, answers)
        self.port: int = self._server.server_address[1]
        self._thread = threading.Thread(target=self._server.serve_forever, name="replies", daemon=True)

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def stop(self) -> None:
        """Stop answering; idempotent."""
        if self._thread.is_alive():
            self._server.shutdown()
            self._thread.join()
        self._server.server_close()


class _Server(socketserver.ThreadingMixIn, socketserver.TCPServer):
    allow_reuse_address = True
    daemon_threads = True
    block_on_close = False

    def __init__(self, host: str, port: int, answers: Answers) -> None:
        if _is_six(host):
            self.address_family = socket.AF_INET6
        self.answers = answers
        self._free = threading.Semaphore(AT_ONCE)
        super().__init__((host, port), _Handler)

    def process_request(self, request: Any, client_address: Any) -> None:
        """One thread a visitor, and no more than so many."""
        if not self._free.acquire(blocking=False):
            self.shutdown_request(request)
            return
        super().process_request(request, client_address)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """As above."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._free.release()

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A visitor that hangs up is no news. What a visitor sent is never logged: it may be a good link."""
        if not isinstance(sys.exception(), ConnectionError | TimeoutError):
            _log.error("a link could not be answered", exc_info=True)


class _Handler(BaseHTTPRequestHandler):
    server: _Server

    def handle(self) -> None:
        """One request, one answer."""
        self._until = time.monotonic() + PATIENCE
        head = b""
        while b"\r\n\r\n" not in head and b"\n\n" not in head:
            if len(head) >= LARGEST_HEAD:
                self._send(self._refused(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE))
                return
            part = self._receive(min(2048, LARGEST_HEAD - len(head)))
            if not part:
                return
            head += part
        end = min(at for mark in (b"\r\n\r\n", b"\n\n") if (at := head.find(mark) + len(mark)) >= len(mark))
        self.rfile = io.BytesIO(head[:end])
        self.close_connection = True
        self.raw_requestline = self.rfile.readline()
        if not self.parse_request():
            return
        refusal = self._take_body(len(head) - end)
        self._send(self._answer() if refusal is None else self._refused(refusal))

    def _take_body(self, come: int) -> HTTPStatus | None:
        """Let a short body come, so that hanging up does not cut off the answer; why it is refused otherwise."""
        if "Transfer-Encoding" in self.headers:
            return HTTPStatus.LENGTH_REQUIRED
        told = self.headers.get("Content-Length", "0")
        if not (told.isascii() and told.isdigit() and len(told) < 10):
            return HTTPStatus.BAD_REQUEST
        if int(told) > LARGEST_BODY:
            return HTTPStatus.REQUEST_ENTITY_TOO_LARGE
        left = int(told) - come
        while left > 0:
            part = self._receive(left)
            if not part:
                return HTTPStatus.BAD_REQUEST
            left -= len(part)
        return None

    def _receive(self, most: int) -> bytes:
        connection = cast(socket.socket, self.connection)
        connection.settimeout(max(0.01, self._until - time.monotonic()))
        return connection.recv(most)

    def _answer(self) -> Page:
        try:
            return self.server.answers.answer(self.command, self.path)
        except StoreError as error:
            _log.warning("a link could not be answered: %s", error)
            return self._refused(HTTPStatus.SERVICE_UNAVAILABLE)

    def _refused(self, status: HTTPStatus) -> Page:
        return self.server.answers.refused(status)

    def _send(self, page: Page) -> None:
        data = page.html.encode()
        self.request_version = "HTTP/1.0"
        self.send_response_only(page.status)
        for name, value in (
            ("Content-Type", "text/html; charset=utf-8"),
            ("Content-Length", str(len(data))),
            ("Content-Security-Policy", _POLICY),
            ("Referrer-Policy", "no-referrer"),
            ("X-Content-Type-Options", "nosniff"),
            ("X-Robots-Tag", "noindex"),
            ("Cache-Control", "no-store"),
            ("Connection", "close"),
        ):
            self.send_header(name, value)
        self.end_headers()
        if getattr(self, "command", None) != "HEAD":
            self.wfile.write(data)
        self._let_go()

    def _let_go(self) -> None:
        """Take in what is still coming, a little of it: hanging up on unread bytes would destroy the answer."""
        connection = cast(socket.socket, self.connection)
        with contextlib.suppress(OSError):
            connection.shutdown(socket.SHUT_WR)
            connection.settimeout(0.2)
            for _ in range(16):
                if not connection.recv(4096):
                    break

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """What the parser of requests refuses, with our page."""
        self._send(self._refused(HTTPStatus(code)))

    def log_message(self, format: str, *args: object) -> None:
        """Nothing: the path of a request is a good link."""


def _is_six(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).version == 6
    except ValueError:
        return False


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach `host`, by its name or address alone."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
