"""Which probes are on an SDI-12 bus, and what do they measure? Asked, since a probe says nothing by itself."""

from __future__ import annotations

import string
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from adapters.sdi12.bus import Bus
from adapters.sdi12.replies import Identity, ReplyRefused
from adapters.serial_port import Port, PortSettings
from adapters.supervised import LinkLost
from daemon.listening.heard import Heard, Keys
from daemon.listening.sources import Tell
from rules.errors import SettingError, UnitError
from rules.units import parse_unit

_ORDER = string.digits + string.ascii_uppercase + string.ascii_lowercase
_WITH_CRC, _WITH_UNITS = 13, 14
"""Versions of the standard, 1.3 and 1.4, from which probes know CRCs, and tell what each value is."""
_WITHIN = 0.6
"""Seconds: an identification takes 0.3 s at the bus's 1200 baud, and a probe begins within 15 ms."""
_PAUSE = 2.0


def addresses(text: str) -> str:
    """Those of a text such as `0-9` or `0-3,a`; raises SettingError."""
    found = ""
    for part in text.split(","):
        first, dash, last = part.strip().partition("-")
        last = last if dash else first
        if len(first) != 1 or len(last) != 1 or first not in _ORDER or last not in _ORDER:
            raise SettingError(f"{part!r} is no address of SDI-12; write them as 0-9 or 0-3,a")
        found += _ORDER[_ORDER.index(first) : _ORDER.index(last) + 1]
    return "".join(dict.fromkeys(found))


@dataclass(slots=True)
class ProbeSource:
    """An SDI-12 bus. baud: left out, that of the bus and then that of most adaptors are tried."""

    path: str
    baud: int | None
    wanted: str
    entries: str = "probes"
    polled: float | None = 60.0
    way: tuple[int, str, bool] = (1200, "7E1", True)
    """(baud, framing, whether we send the break that wakes probes) by which probes answered."""
    found: dict[str, Identity] = field(default_factory=dict)

    def listen(self, heard: Heard, tell: Tell, seconds: float) -> None:
        """Look for probes at all wanted addresses, then measure until the time is over, once at least."""
        until = time.monotonic() + seconds
        ways = [(1200, "7E1", True), (9600, "8N1", False)]
        if self.baud is not None:
            ways = [(self.baud, "8N1", False), (self.baud, "7E1", True)]
        trouble: LinkLost | None = None
        for way in ways:
            self.way = way
            try:
                with self._port() as port:
                    bus = Bus(port, wake=way[2], answer_within=_WITHIN, retries=1)
                    self._search(bus)
                    if self.found:
                        self._measure(bus, heard, tell, until)
                        return
            except LinkLost as error:  # an adaptor that cannot do it
                trouble = error
        if trouble is not None:
            raise trouble

    def adapter(self) -> Keys:
        """The port, and how its adaptor is spoken to."""
        baud, framing, wake = self.way
        table: Keys = {"kind": "sdi12", "port": self.path, "baud": baud, "framing": framing, "wake": wake}
        return {**table, "every": f"{self.polled:.0f} s"}

    def _port(self) -> Port:
        baud, framing, _ = self.way
        return Port(PortSettings.model_validate({"port": self.path, "baud": baud, "framing": framing}))

    def _search(self, bus: Bus) -> None:
        wanted = list(self.wanted)
        with suppress(ReplyRefused):
            lone = bus.whose()  # where one probe alone is there
            wanted = [lone, *(address for address in wanted if address != lone)]
        for address in wanted:
            with suppress(ReplyRefused):
                self.found[address] = bus.identity(address, once=True)

    def _measure(self, bus: Bus, heard: Heard, tell: Tell, until: float) -> None:
        told: dict[str, Sequence[tuple[str, str]]] = {}
        while True:
            for address, identity in self.found.items():
                crc = identity.version >= str(_WITH_CRC)
                try:
                    seconds, count = bus.begin(address, "MC" if crc else "M")
                    if seconds:
                        bus.await_service(address, seconds, lambda: False)
                    values = bus.collect(address, count, crc=crc)
                    if address not in told:
                        knows = identity.version >= str(_WITH_UNITS)
                        told[address] = [bus.about(address, at) for at in range(1, count + 1)] if knows else []
                except ReplyRefused as error:
                    heard.what_not.setdefault(f"probe {address}", str(error))
                    continue
                for at, value in enumerate(values, start=1):
                    label, unit = told[address][at - 1] if at <= len(told[address]) else ("", "")
                    how: Keys = {"probe": address, "command": "MC" if crc else "M", "is": str(identity), "at": at}
                    where = f"{identity}{f' {label}' if label else ''} probe{address}/value{at}"
                    new = heard.add(where, how, value, time.monotonic(), _known(unit))
                    if new is not None:
                        tell(new)
            if time.monotonic() + _PAUSE >= until:
                return
            time.sleep(_PAUSE)


def _known(unit: str) -> str | None:
    try:
        return parse_unit(unit).symbol if unit else None
    except UnitError:
        return None
