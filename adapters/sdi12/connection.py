"""How does an SDI-12 bus live: each probe asked in its turn, and a probe that is silent not holding up the others?"""

from __future__ import annotations

import string
from collections.abc import Mapping, Sequence
from decimal import Decimal

from adapters.backoff import Backoff
from adapters.pace import Pace, Schedule
from adapters.payloads.decoded import Decoded
from adapters.payloads.doors import Doors
from adapters.sdi12.bus import Bus
from adapters.sdi12.replies import Identity, ReplyRefused
from adapters.sdi12.settings import ProbeSettings, Sdi12Settings
from adapters.serial_port import Port
from adapters.supervised import Supervised
from rules.plan import PointPlan

_ALL_ADDRESSES = string.digits + string.ascii_letters
_SEARCH_AGAIN = 3600.0
"""Seconds between two searches for a probe that does not answer at its address."""


class Sdi12Adapter(Supervised):
    """Readings of all probes on one bus, dated when the values were ready.

    A probe is known by what it says of itself: where another answers at its address, nothing of it is taken, and a
    probe that has moved is looked for and told, not followed. Probes asked by C measure at the same time.
    """

    def __init__(
        self,
        settings: Sdi12Settings,
        points: Mapping[str, PointPlan],
        site: str,
        *,
        name: str = "sdi12",
        pace: Pace | None = None,
        backoff: Backoff | None = None,
    ) -> None:
        """site: not used; every adapter is told the site's name."""
        super().__init__(name, self._poll, pace=pace, backoff=backoff)
        self._settings = settings
        self._doors = Doors(points)
        self.identities: dict[str, Identity] = {}
        """address -> what the probe there said of itself when it was first heard."""
        self._searched: dict[str, float] = {}
        self._silent: set[str] = set()

    def _poll(self, _own: Supervised) -> None:
        settings = self._settings
        probes = dict(enumerate(settings.probes))
        every = {at: (probe.every or settings.every) / 1000 for at, probe in probes.items()}
        with Port(settings) as port:
            self.connected()
            bus = Bus(
                port,
                wake=settings.wake,
                answer_within=settings.answer_within / 1000,
                retries=settings.retries,
                refused=lambda error: self._refuse(error, "retried: "),
            )
            schedule = Schedule(every, self.pace.monotonic())
            while not self.wait(schedule.wait(self.pace.monotonic())):
                due = [probes[at] for at in schedule.take(self.pace.monotonic())]
                self._ask(bus, [probe for probe in due if probe.kind != "C"])
                self._ask_together(bus, [probe for probe in due if probe.kind == "C"])

    def _ask(self, bus: Bus, probes: Sequence[ProbeSettings]) -> None:
        for probe in probes:
            if self.stopping.is_set() or not self._is_there(bus, probe):
                continue
            try:
                if probe.kind == "R":
                    values = bus.continuous(probe.address, probe.command, crc=probe.crc)
                else:
                    seconds, count = bus.begin(probe.address, probe.command)
                    if seconds:
                        bus.await_service(probe.address, seconds, self.stopping.is_set)
                    values = bus.collect(probe.address, count, crc=probe.crc)
            except ReplyRefused as error:
                self._failed(error, probe)
            else:
                self._take(probe, values)

    def _ask_together(self, bus: Bus, probes: Sequence[ProbeSettings]) -> None:
        begun: list[tuple[ProbeSettings, int]] = []
        longest = 0
        for probe in probes:
            if self.stopping.is_set() or not self._is_there(bus, probe):
                continue
            try:
                seconds, count = bus.begin(probe.address, probe.command)
            except ReplyRefused as error:
                self._failed(error, probe)
            else:
                begun.append((probe, count))
                longest = max(longest, seconds)
        if not begun or (longest and self.wait(longest)):
            return
        for probe, count in begun:
            try:
                values = bus.collect(probe.address, count, crc=probe.crc)
            except ReplyRefused as error:
                self._failed(error, probe)
            else:
                self._take(probe, values)

    def _is_there(self, bus: Bus, probe: ProbeSettings) -> bool:
        """Whether the probe at the address is the one that is meant; asked once, and again after silence."""
        address = probe.address
        known = self.identities.get(address)
        if known is None or address in self._silent:
            try:
                said = bus.identity(address, once=address in self._silent)
            except ReplyRefused as error:
                self._failed(error, probe)
                self._search(bus, probe)
                return False
            if known is not None and said != known:
                self._refuse(ReplyRefused("another probe", f"at address {address}: {said} instead of {known}"))
                return False
            self.identities[address] = said
            self._silent.discard(address)
        if probe.is_ is not None and probe.is_ not in str(self.identities[address]):
            wrong = f"at address {address}: {self.identities[address]} instead of {probe.is_}"
            self._refuse(ReplyRefused("another probe", wrong))
            del self.identities[address]
            return False
        return True

    def _search(self, bus: Bus, probe: ProbeSettings) -> None:
        """Where does a probe answer now that was known at `probe.address`? Told to the keeper."""
        known, wanted = self.identities.get(probe.address), probe.is_
        now = self.pace.monotonic()
        if (known is None and wanted is None) or now - self._searched.get(probe.address, -1e9) < _SEARCH_AGAIN:
            return
        self._searched[probe.address] = now
        taken = {other.address for other in self._settings.probes}
        for address in _ALL_ADDRESSES:
            if address in taken or self.stopping.is_set():
                continue
            try:
                said = bus.identity(address, once=True)
            except ReplyRefused:
                continue
            if said == known or (known is None and wanted is not None and wanted in str(said)):
                moved = f'{said} answers at address {address} now; write address = "{address}" or give it its old one'
                self._refuse(ReplyRefused("address changed", moved))
                return

    def _take(self, probe: ProbeSettings, values: Sequence[Decimal]) -> None:
        decoded = Decoded()
        time = self.now()
        for wanted in probe.values:
            if wanted.at <= len(values):
                self._doors.admit(decoded, wanted.point, time, values[wanted.at - 1], wanted.unit)
            else:
                has = f"probe {probe.address} gave {len(values)} values, and none at {wanted.at}"
                decoded.refuse("no value", f"{wanted.point}: {has}")
        self.deliver(decoded)

    def _failed(self, error: ReplyRefused, probe: ProbeSettings) -> None:
        self._silent.add(probe.address)
        self._refuse(error)

    def _refuse(self, error: ReplyRefused, how: str = "") -> None:
        decoded = Decoded()
        decoded.refuse(how + error.cause, error.detail)
        self.deliver(decoded)
