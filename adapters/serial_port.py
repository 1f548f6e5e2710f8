"""How is a serial port opened, read and lost?"""

from __future__ import annotations

import termios
import time
from types import TracebackType
from typing import TYPE_CHECKING, Literal, Self

from pydantic import Field

from adapters.supervised import LinkLost
from rules.settings import Settings

if TYPE_CHECKING:
    from serial import Serial

CHUNK = 4096
"""Bytes read at once at most."""
Framing = Literal["8N1", "8E1", "8O1", "8N2", "7E1", "7O1", "7N1"]
"""Data bits, parity, stop bits."""


class PortSettings(Settings):
    """What every serial port has."""

    port: str = Field(
        min_length=1,
        description="the device; its name in /dev/serial/by-id/ stays the same wherever it is plugged in",
    )
    baud: int = Field(9600, ge=50, le=4_000_000, description="bits a second")
    framing: Framing = Field("8N1", description="data bits, parity (none, even, odd) and stop bits")


class Port:
    """An open serial port. Every failure of the device is a LinkLost that names it."""

    def __init__(self, settings: PortSettings) -> None:
        """Opens it, for us alone; raises LinkLost."""
        from serial import Serial  # slow, and only for those who have such a port

        self._name = settings.port
        opened: Serial | None = None
        try:
            self._serial: Serial = Serial(
                settings.port,
                settings.baud,
                bytesize=int(settings.framing[0]),
                parity=settings.framing[1],
                stopbits=int(settings.framing[2]),
                exclusive=True,
                write_timeout=2.0,
            )
            opened = self._serial
            self._serial.timeout = 0.0  # sets everything once more; a device that cannot do it says so now
            opened = None
        except (OSError, ValueError) as error:
            raise LinkLost(f"port {settings.port} cannot be opened: {error}; is it plugged in, and ours?") from None
        except termios.error as error:
            told = f"port {settings.port} cannot do {settings.baud} baud {settings.framing}: {error}"
            raise LinkLost(f"{told}; an adaptor may need its own baud and framing") from None
        finally:
            if opened is not None:  # or the next try would find it locked
                opened.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        try:
            self._serial.close()
        except OSError:  # it is gone already
            return

    def read(self, timeout: float) -> bytes:
        """What is there, at most CHUNK bytes; waits `timeout` seconds for the first byte, and may return nothing."""
        try:
            self._serial.timeout = timeout
            first: bytes = self._serial.read(1)
            return first + self._serial.read(min(self._serial.in_waiting, CHUNK)) if first else first
        except (OSError, TypeError, termios.error) as error:  # TypeError: pyserial's own, on a port that was closed
            raise self._gone(error) from None

    def read_line(self, timeout: float, longest: int) -> bytes:
        """All up to and with a line feed; what has come, where within `timeout` seconds or `longest` bytes none has."""
        until = time.monotonic() + timeout
        line = b""
        while not line.endswith(b"\n") and len(line) < longest:
            left = until - time.monotonic()
            if left <= 0:
                break
            try:
                self._serial.timeout = left
                line += self._serial.read(1)
            except (OSError, TypeError, termios.error) as error:
                raise self._gone(error) from None
        return line

    def write(self, data: bytes, *, wake: float = 0.0) -> None:
        """Send; what is waiting to be read is thrown away first. wake: seconds of break before it, then a mark."""
        try:
            self._serial.reset_input_buffer()
            if wake:
                self._serial.break_condition = True
                time.sleep(wake)
                self._serial.break_condition = False
                time.sleep(0.009)  # SDI-12: at least 8.33 ms of marking between break and command
            self._serial.write(data)
            self._serial.flush()
        except (OSError, termios.error) as error:
            raise self._gone(error) from None

    def _gone(self, error: Exception) -> LinkLost:
        return LinkLost(f"port {self._name} is gone: {error}")
