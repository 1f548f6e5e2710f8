"""How does the service manager learn that the daemon is up, and that it still lives? By its notification socket.

The protocol is that of sd_notify(3): lines `KEY=VALUE` in one datagram to the socket named by `NOTIFY_SOCKET`.
"""

from __future__ import annotations

import logging
import os
import socket
import time
from collections.abc import Callable, Mapping

_log = logging.getLogger("tidebed")


class Supervisor:
    """Tells the service manager; does nothing where there is none."""

    def __init__(
        self, environ: Mapping[str, str], monotonic: Callable[[], float] = time.monotonic, pid: int | None = None
    ) -> None:
        """environ: where NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID stand."""
        self._address = environ.get("NOTIFY_SOCKET", "")
        meant = environ.get("WATCHDOG_PID", "")
        told = environ.get("WATCHDOG_USEC", "")
        ours = not meant or meant == str(os.getpid() if pid is None else pid)
        self.within = int(told) / 1e6 if told.isdigit() and ours and self._address else None
        """Seconds within which a sign of life must come; None: nobody waits for one."""
        self._monotonic = monotonic
        self._told = -1e9
        self._failed = False

    def ready(self, status: str) -> None:
        """The daemon watches."""
        self._tell(f"READY=1\nSTATUS={status}")

    def starting(self, status: str, seconds: float) -> None:
        """The start takes longer, for a reason that stands in the log; another word comes within `seconds`."""
        self._tell(f"STATUS={status}\nEXTEND_TIMEOUT_USEC={round(seconds * 1e6)}")

    def stopping(self) -> None:
        """The daemon ends because it was asked to."""
        self._tell("STOPPING=1")

    def tick(self, pulse_age: float) -> None:
        """A sign of life when one is due, as long as the loop turns. pulse_age: seconds since its last turn.

        sd_watchdog_enabled(3) recommends one every half of the time; three come in it, so that one may be late.
        """
        if self.within is None or pulse_age >= self.within / 2:
            return
        now = self._monotonic()
        if now - self._told >= self.within / 3:
            self._told = now
            self._tell("WATCHDOG=1")

    def _tell(self, text: str) -> None:
        if not self._address:
            return
        # A name that begins with @ is an abstract one, which begins with a zero byte.
        address = f"\0{self._address[1:]}" if self._address.startswith("@") else self._address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as client:
                client.sendto(text.encode(), address)
        except OSError as error:
            if not self._failed:
                _log.warning("the service manager cannot be told how the daemon is: %s", error.strerror)
            self._failed = True
