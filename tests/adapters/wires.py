"""What stands at the far end of a wire in tests: a pseudo-terminal, an inlet that keeps, and a clock that is moved."""

from __future__ import annotations

import contextlib
import errno
import os
import queue
import select
import termios
import threading
import tty
from collections.abc import Callable
from pathlib import Path

from adapters.intake import Arrived, Delivery

NOW = 1_775_182_470_000


class MovedClock:
    """A clock that a test moves."""

    def __init__(self, now: int = NOW) -> None:
        self.time = now

    def now(self) -> int:
        return self.time


class Kept:
    """An inlet that keeps what it is given, or is full while `full` is set."""

    def __init__(self) -> None:
        self.deliveries: list[Delivery] = []
        self.full = False

    def put(self, delivery: Delivery) -> None:
        if self.full:
            raise queue.Full
        self.deliveries.append(delivery)

    def readings(self) -> list[Arrived]:
        return [reading for delivery in list(self.deliveries) for reading in delivery.readings]

    def counts(self) -> list[int]:
        return [reading.counts for reading in self.readings()]

    def causes(self) -> list[str]:
        return [refusal.cause for delivery in list(self.deliveries) for refusal in delivery.refusals]


class Quick:
    """A pace that waits a hundredth of what it is told."""

    def __init__(self) -> None:
        self.told = 0.0

    def monotonic(self) -> float:
        return self.told

    def wait(self, seconds: float, stopping: threading.Event) -> bool:
        self.told += seconds
        return stopping.wait(seconds / 100)


class Wire:
    """A pseudo-terminal under a name that stays, as udev gives one; it can be unplugged and plugged in again."""

    def __init__(self, folder: Path, name: str = "usb-probe") -> None:
        self.path = folder / name
        self._far: int | None = None
        self._near: int | None = None
        self.plug()

    def plug(self) -> None:
        """A new device under the old name."""
        self._far, self._near = os.openpty()
        tty.setraw(self._near)
        self.path.symlink_to(os.ttyname(self._near))

    def unplug(self) -> None:
        """The device is gone."""
        self.path.unlink()
        for end in (self._far, self._near):
            if end is not None:
                os.close(end)
        self._far = self._near = None

    def send(self, data: bytes) -> None:
        """Write from the far end."""
        assert self._far is not None
        while data:
            data = data[os.write(self._far, data) :]

    def drain(self) -> None:
        """Throw away what was sent and not read yet."""
        assert self._near is not None
        termios.tcflush(self._near, termios.TCIFLUSH)

    def hear(self, timeout: float = 0.02) -> bytes:
        """What was written to the wire; empty where nothing comes, or where it is unplugged."""
        far = self._far
        if far is None:
            return b""
        with contextlib.suppress(ValueError, OSError):
            if select.select([far], [], [], timeout)[0]:
                return os.read(far, 4096)
        return b""


class Answering:
    """A thread that answers: `answer(bytes so far)` gives (answer, rest), or None to hear more."""

    def __init__(self, wire: Wire, answer: Callable[[bytes], tuple[bytes, bytes] | None]) -> None:
        self._wire, self._answer = wire, answer
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Answering:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ending.set()
        self._thread.join(5)

    def _run(self) -> None:
        held = b""
        while not self._ending.is_set():
            held += self._wire.hear()
            while (found := self._answer(held)) is not None:
                said, held = found
                if said:
                    try:
                        self._wire.send(said)
                    except OSError as error:
                        if error.errno not in (errno.EIO, errno.EBADF):
                            raise
