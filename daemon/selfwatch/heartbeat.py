"""Who notices when the board itself is gone? Whoever waits for this daemon's regular visits.

An address of the keeper's choice is asked for, but only while the loop turns and its readings get to disk.
"""

from __future__ import annotations

import http.client
import logging
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable

from adapters.secrets import Secret

ANSWER_WITHIN = 10.0
"""Seconds."""

_log = logging.getLogger("tidebed.heartbeat")


def ask(address: Secret) -> str:
    """GET the address once; why it failed, in words that do not show it, or ""."""
    url = address.reveal()
    if not url.startswith(("https://", "http://")):
        return "its address is no web address; it begins with https://"
    try:
        # The scheme is one of two, see above.
        request = urllib.request.Request(url, headers={"User-Agent": "tidebed"})
        with urllib.request.urlopen(request, timeout=ANSWER_WITHIN) as answer:
            answer.read(1024)
    except urllib.error.HTTPError as error:
        error.close()
        return f"the service answered {error.code}"
    except (OSError, http.client.HTTPException, ValueError) as error:
        # The text of an error may hold the address; its kind does not.
        reason = getattr(error, "reason", None)
        return f"no answer ({type(reason if isinstance(reason, Exception) else error).__name__})"
    return ""


class Heartbeat:
    """Asks on a thread of its own."""

    def __init__(
        self,
        address: Secret,
        every: float,
        is_watching: Callable[[], bool],
        *,
        asks: Callable[[Secret], str] = ask,
    ) -> None:
        """every: seconds; is_watching: whether the daemon really watches, asked just before each beat."""
        self._address, self._every, self._is_watching, self._asks = address, every, is_watching, asks
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)
        self._trouble = ""
        self.beats = 0

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End; idempotent. A beat that is under way is not waited for."""
        self._stopping.set()

    def beat(self) -> None:
        """One beat, or a word in the log why there is none."""
        trouble = self._asks(self._address) if self._is_watching() else "the daemon does not watch just now"
        if trouble and trouble != self._trouble:
            _log.warning("no heartbeat: %s", trouble)
        elif self._trouble and not trouble:
            _log.info("the heartbeat goes on")
        self._trouble = trouble
        self.beats += not trouble

    def _run(self) -> None:
        due = time.monotonic()
        while True:
            self.beat()
            due = max(due + self._every, time.monotonic())
            if self._stopping.wait(due - time.monotonic()):
                return
