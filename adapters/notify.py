"""How does a message reach a person's phone or mail, and what does the service answer?

apprise carries the message. It says only whether that worked, and writes the rest into its own log, addresses included.
So that log goes nowhere but into `_Listener`, which keeps the status code and the kind of failure and nothing else.
"""

from __future__ import annotations

import logging
import re
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol
from urllib.parse import quote

from adapters.secrets import SecretUrl

if TYPE_CHECKING:
    from apprise.plugins import NotifyBase

CONNECT_WITHIN, ANSWER_WITHIN = 5, 15
"""Seconds; an address may carry its own as `cto` and `rto`."""


class Result(StrEnum):
    """What became of one try."""

    DELIVERED = "delivered"
    FAILED = "failed"
    """Known not to have arrived; another try may work."""
    UNKNOWN = "unknown"
    """No answer came: it may have arrived."""
    REFUSED = "refused"
    """The service will never take this message."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """The result of one try, and why in a few words without any secret."""

    result: Result
    reason: str = ""


class Notifier(Protocol):
    """Hands one message to one service."""

    def send(
        self, way: SecretUrl, title: str, body: str, message_id: str, priority: str, purpose: str = "first"
    ) -> Outcome:
        """Try once; blocks until the service answered or its time is over. Called from several threads."""


class AppriseNotifier:
    """Services by the addresses of apprise.

    Services of one's own (`json://`, `form://`, `xml://` and their secure kin) get the message id as the field
    `message_id` and the header `X-Message-Id`, mail as that header; for the others it is the last line of the text.
    """

    def send(
        self, way: SecretUrl, title: str, body: str, message_id: str, priority: str, purpose: str = "first"
    ) -> Outcome:
        """See Notifier. A redirect counts as a failure: the log-in page of some hotel network is no delivery."""
        address, text = _address_and_text(way.reveal(), body, message_id)
        with _listening() as signs:
            service = _service(address)
            if service is None:
                return Outcome(
                    Result.REFUSED, f"the address of way {way.name} is not understood; mend it in the secrets"
                )
            done = service.notify(body=text, title=title, notify_type=_TYPES.get(priority, "info"), body_format="text")
        # An address with several recipients may have reached some of them.
        return Outcome(Result.DELIVERED) if done else signs.outcome(several=len(service) > 1)


def problem(way: SecretUrl) -> str | None:
    """Why the address of `way` cannot be used, without showing it; None when it can. Sends nothing."""
    with _listening():
        if _service(_address_and_text(way.reveal(), "", "check")[0]) is not None:
            return None
    scheme = way.reveal().partition("://")[0]
    shown = f" ({scheme}://...)" if re.fullmatch(r"[a-z][a-z0-9+.-]{0,19}", scheme) else ""
    return f"the address of way {way.name}{shown} is not one of a service that apprise knows; see its list of addresses"


_OWN_SERVICE = frozenset(("json", "jsons", "form", "forms", "xml", "xmls"))
_MAIL = frozenset(("mailto", "mailtos"))
_TYPES = {"critical": "failure", "high": "warning", "medium": "warning"}


def _address_and_text(address: str, body: str, message_id: str) -> tuple[str, str]:
    """The address and the text that together carry the message id."""
    scheme = address.partition("://")[0].lower()
    quoted = quote(message_id, safe="")
    if scheme in _OWN_SERVICE:
        extra, text = f":message_id={quoted}&+X-Message-Id={quoted}", body
    elif scheme in _MAIL:
        extra, text = f"+X-Message-Id={quoted}", body
    else:
        extra, text = "", f"{body}\n({message_id})"
    query = address.partition("?")[2]
    for key, seconds in (("cto", CONNECT_WITHIN), ("rto", ANSWER_WITHIN)):
        if f"{key}=" not in query:
            extra += f"&{key}={seconds}"
    return f"{address}{'&' if query else '?'}{extra.removeprefix('&')}", text


_loading = threading.Lock()


def _service(address: str) -> NotifyBase | None:
    # Its first use loads every service that apprise knows, some of which import modules that Python has given up.
    with _loading, warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        # Heavy, and needed only by a daemon that has somebody to tell.
        import apprise

        asset = apprise.AppriseAsset(
            app_id="Tidebed",
            app_desc="Tidebed",
            app_url="",
            # No pictures fetched from elsewhere, nothing kept on disk beside the store.
            image_url_mask="",
            image_url_logo="",
            storage_mode="memory",
            http_redirects=False,
        )
        return apprise.Apprise.instantiate(address, asset=asset)


class _Signs:
    """What was overheard while one message was handed over."""

    def __init__(self) -> None:
        self.status: int | None = None
        self.unreachable = ""

    def hear(self, text: str) -> None:
        """Keep what tells the kind of failure; the text itself may hold secrets and is let go."""
        status = _STATUS.search(text)
        if status is not None:
            self.status = int(status[1])
        for pattern, meaning in _UNREACHABLE:
            if pattern in text:
                self.unreachable = meaning

    def outcome(self, *, several: bool) -> Outcome:
        """What the signs of a failed try mean."""
        if self.status is not None:
            reason = f"the service answered {self.status}"
            if 400 <= self.status < 500 and self.status not in _PASSING:
                return Outcome(Result.REFUSED, reason)
            doubtful = several or self.status in _IN_BETWEEN
            return Outcome(Result.UNKNOWN if doubtful else Result.FAILED, reason)
        if self.unreachable and not several:
            return Outcome(Result.FAILED, self.unreachable)
        return Outcome(Result.UNKNOWN, self.unreachable or "the service did not confirm it")


_STATUS = re.compile(r"\berror=(\d{3})\b")
_PASSING = frozenset((408, 425, 429))
"""Request Timeout, Too Early, Too Many Requests (RFC 9110, RFC 8470, RFC 6585): asked to come back later."""
_IN_BETWEEN = frozenset((502, 504))
"""Bad Gateway, Gateway Timeout (RFC 9110): something on the way answered; whoever stands behind may have got it."""
_UNREACHABLE = (
    ("NameResolutionError", "the name of the service could not be looked up"),
    ("Name or service not known", "the name of the service could not be looked up"),
    ("Temporary failure in name resolution", "the name of the service could not be looked up"),
    ("ConnectTimeoutError", "no connection to the service"),
    ("NewConnectionError", "no connection to the service"),
    ("Connection refused", "no connection to the service"),
    ("No route to host", "no connection to the service"),
    ("Network is unreachable", "no connection to the service"),
)
"""No connection was made, so nothing can have arrived."""


class _Listener(logging.Handler):
    """Hears apprise's log for the thread that is handing a message over."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.here = threading.local()

    def emit(self, record: logging.LogRecord) -> None:
        signs: _Signs | None = getattr(self.here, "signs", None)
        if signs is not None:
            signs.hear(record.getMessage())


_listener = _Listener()


@contextmanager
def _listening() -> Iterator[_Signs]:
    """What apprise logs on this thread goes to the signs, and nowhere else."""
    log = logging.getLogger("apprise")
    # Its log holds whole addresses and bodies: it must not reach the handlers of the daemon. DEBUG, because the kind of
    # failure is told at that level alone.
    log.propagate = False
    log.setLevel(logging.DEBUG)
    if _listener not in log.handlers:
        log.addHandler(_listener)
    # Below WARNING it logs the path of every request, which for some services is the token.
    logging.getLogger("urllib3.connectionpool").setLevel(logging.WARNING)
    signs = _listener.here.signs = _Signs()
    try:
        yield signs
    finally:
        _listener.here.signs = None
