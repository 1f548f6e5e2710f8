"""How is a probe asked over an SDI-12 bus, and asked again where the answer is bad?"""

from __future__ import annotations

import time
from collections.abc import Callable
from decimal import Decimal
from typing import Protocol, TypeVar

from adapters.sdi12.replies import (
    Identity,
    ReplyRefused,
    body,
    parse_address,
    parse_identity,
    parse_meaning,
    parse_measuring,
    parse_values,
)

LONGEST = 128
"""Bytes of a reply: a reply to aD0! has at most 75 characters of values, besides address, CRC, CR and LF."""
_BREAK = 0.015
"""Seconds; a break has at least 12 ms (section 7)."""
_LAST_PAGE = 9
T = TypeVar("T")


class Wire(Protocol):
    """What the bus needs of a serial port."""

    def write(self, data: bytes, *, wake: float = 0.0) -> None:
        """Send, after throwing away what waits to be read."""

    def read_line(self, timeout: float, longest: int) -> bytes:
        """A line with its end, or what has come of it in time."""


class Bus:
    """Commands and replies on one port. Every method raises ReplyRefused with the last try's cause."""

    def __init__(
        self,
        wire: Wire,
        *,
        wake: bool = True,
        answer_within: float = 1.0,
        retries: int = 3,
        refused: Callable[[ReplyRefused], None] = lambda error: None,
    ) -> None:
        """answer_within: seconds. refused: hears of each bad reply, also of those that were made good by a retry."""
        self._wire = wire
        self._wake = _BREAK if wake else 0.0
        self._within = answer_within
        self._retries = retries
        self._refused = refused

    def whose(self) -> str:
        """The address of the only probe on the bus (?!)."""
        return self._again(lambda: parse_address(self._ask("?!")))

    def identity(self, address: str, *, once: bool = False) -> Identity:
        """What the probe says of itself (aI!). once: without retries, for looking whether anybody is there."""

        def ask() -> Identity:
            return parse_identity(body(self._ask(f"{address}I!"), address))

        return ask() if once else self._again(ask)

    def about(self, address: str, number: int, command: str = "M") -> tuple[str, str]:
        """(short name, unit) of a measurement's value, as the probe tells them (aIM_001!, from version 1.4 on).

        Both empty where it does not.
        """
        try:
            return parse_meaning(body(self._ask(f"{address}I{command}_{number:03d}!"), address))
        except ReplyRefused:
            return "", ""

    def begin(self, address: str, command: str) -> tuple[int, int]:
        """Begin a measurement, as in `M` or `CC1`: (seconds until it is ready, number of values)."""
        return self._again(lambda: parse_measuring(body(self._ask(f"{address}{command}!"), address)))

    def await_service(self, address: str, seconds: int, stopping: Callable[[], bool]) -> None:
        """Wait until the probe says that its values are ready, at most so long; it may be silent, then they are too."""
        until = time.monotonic() + seconds
        while not stopping() and (left := until - time.monotonic()) > 0:
            line = self._wire.read_line(min(left, 0.2), LONGEST)
            if line == address.encode("ascii") + b"\r\n":
                return

    def collect(self, address: str, count: int, *, crc: bool) -> list[Decimal]:
        """`count` values by aD0!, aD1! and so on; fewer where the probe has no more."""
        values: list[Decimal] = []
        for page in range(_LAST_PAGE + 1):
            if len(values) >= count:
                break
            found = self._values(f"{address}D{page}!", address, crc=crc)
            if not found:
                break
            values += found
        return values[:count]

    def continuous(self, address: str, command: str, *, crc: bool) -> list[Decimal]:
        """The values of `R0` to `R9`, which are always ready."""
        return self._values(f"{address}{command}!", address, crc=crc)

    def _values(self, command: str, address: str, *, crc: bool) -> list[Decimal]:
        return self._again(lambda: parse_values(body(self._ask(command), address, crc=crc)))

    def _ask(self, command: str) -> bytes:
        sent = command.encode("ascii")
        self._wire.write(sent, wake=self._wake)
        line = self._wire.read_line(self._within, LONGEST)
        # Plain adaptors hear what they send; the break adds zero bytes.
        return line.lstrip(b"\0").removeprefix(sent)

    def _again(self, ask: Callable[[], T]) -> T:
        for _ in range(self._retries):
            try:
                return ask()
            except ReplyRefused as error:
                self._refused(error)
        return ask()
