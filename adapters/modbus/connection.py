"""How do Modbus devices live: each over TCP by itself, all of a serial line in turn, the silent ones less often?"""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from adapters.backoff import Backoff
from adapters.intake import Health, Inlet
from adapters.modbus.registers import Request, grouped, value_of
from adapters.modbus.settings import WIDTH, ModbusSettings
from adapters.pace import Pace, Schedule
from adapters.payloads.decoded import Decoded
from adapters.payloads.doors import Doors
from adapters.supervised import LinkLost, Supervised
from rules.clock import Clock
from rules.errors import ValueRefused
from rules.plan import PointPlan

if TYPE_CHECKING:
    from pymodbus.client import ModbusSerialClient, ModbusTcpClient

    Client = ModbusSerialClient | ModbusTcpClient

_PATIENCE = 3
"""Requests without an answer after which a device on a shared line is asked less often."""
_LONGEST_REST = 300.0
_QUIET = 2
"""A late answer is awaited so many times `answer_within` before a serial line is used again."""
_EXCEPTIONS = {
    1: "illegal function", 2: "illegal data address", 3: "illegal data value", 4: "device failure",
    6: "device busy", 10: "no way through the gateway", 11: "no answer behind the gateway",
}  # fmt: skip
"""MODBUS Application Protocol V1.1b3, section 7."""


class ModbusAdapter:
    """Readings from registers, dated when they were read.

    Over TCP each device has a connection and a thread of its own, so a slow one delays none. On a serial line only
    one can speak: a device that stays silent is asked less and less often, at most five minutes apart.
    """

    def __init__(
        self,
        settings: ModbusSettings,
        points: Mapping[str, PointPlan],
        site: str,
        *,
        name: str = "modbus",
        pace: Pace | None = None,
        backoff: Backoff | None = None,
    ) -> None:
        """site: not used; every adapter is told the site's name."""
        self.name = name
        requests = grouped(settings.registers, settings.every, settings.gap)
        units = sorted({request.unit_id for request in requests})
        shares = [[r for r in requests if r.unit_id == unit] for unit in units] if settings.host else [requests]
        self._lines = [
            Supervised(name, _Line(settings, Doors(points), share).converse, pace=pace, backoff=backoff)
            for share in shares
        ]

    def start(self, inlet: Inlet, clock: Clock) -> None:
        """Begin; returns at once."""
        for line in self._lines:
            line.start(inlet, clock)

    def stop(self) -> None:
        """Stop and join; idempotent."""
        for line in self._lines:
            line.stopping.set()
        for line in self._lines:
            line.stop()

    def drained(self) -> bool:
        """Devices keep nothing for us while we are away."""
        return True

    def health(self) -> Health:
        """All connections together; the state and error of one that is not well where there is one."""
        whole = Health(self.name)
        parts = [line.health() for line in self._lines]
        worst = next((part for part in parts if part.state != "connected"), parts[0])
        whole.state = worst.state
        whole.last_error = worst.last_error or next((part.last_error for part in parts if part.last_error), "")
        for part in parts:
            whole.received += part.received
            whole.refused.update(part.refused)
        return whole


class _Line:
    """One connection and what is read over it."""

    def __init__(self, settings: ModbusSettings, doors: Doors, requests: Sequence[Request]) -> None:
        self._settings = settings
        self._doors = doors
        self._requests = dict(enumerate(requests))
        self._misses: dict[int, int] = {}

    def converse(self, own: Supervised) -> None:
        """Connect, and read what is due until we are to stop or the connection is lost."""
        client = self._client()
        try:
            if not client.connect():
                raise LinkLost(f"{self._where} does not take a connection; is it on, and the address right?")
            own.connected()
            schedule = Schedule({at: one.every / 1000 for at, one in self._requests.items()}, own.pace.monotonic())
            while not own.wait(schedule.wait(own.pace.monotonic())):
                silent: set[int] = set()
                for at in schedule.take(own.pace.monotonic()):
                    request = self._requests[at]
                    if own.stopping.is_set():
                        return
                    if request.unit_id in silent:
                        continue
                    rest = self._poll(own, client, request)
                    if rest:
                        silent.add(request.unit_id)
                        self._rest(schedule, request.unit_id, own.pace.monotonic() + rest)
        finally:
            client.close()  # type: ignore[no-untyped-call] # the library gives it no types

    def _poll(self, own: Supervised, client: Client, request: Request) -> float:
        """Read once; returns the seconds for which the device is to be left alone."""
        from pymodbus.exceptions import ConnectionException, ModbusException

        read = client.read_holding_registers if request.table == "holding" else client.read_input_registers
        where = f"device {request.unit_id}, {request.table} registers {request.address} +{request.size}"
        try:
            answer = read(request.address, count=request.size, device_id=request.unit_id)
        except ConnectionException as error:
            raise LinkLost(f"{self._where}: {error}") from None
        except ModbusException as error:
            return self._missed(own, client, request, f"{where}: {error}")
        self._misses.pop(request.unit_id, None)
        decoded = Decoded()
        if answer.isError():
            code = int(getattr(answer, "exception_code", 0))
            decoded.refuse("device refuses", f"{where}: {_EXCEPTIONS.get(code, f'exception {code}')}")
        elif len(answer.registers) != request.size:
            decoded.refuse("broken answer", f"{where}: {len(answer.registers)} registers came")
        else:
            self._take(decoded, request, answer.registers, own.now())
        own.deliver(decoded)
        return 0.0

    def _missed(self, own: Supervised, client: Client, request: Request, why: str) -> float:
        decoded = Decoded()
        decoded.refuse("no answer", why)
        own.deliver(decoded)
        misses = self._misses[request.unit_id] = self._misses.get(request.unit_id, 0) + 1
        # An answer that is late must not be taken for that to the next question, which on a serial line carries no
        # number: let the line fall quiet, and begin anew.
        if self._settings.host is None:
            own.stopping.wait(_QUIET * self._settings.answer_within / 1000)  # real time: the wire's, not the pace's
        client.close()  # type: ignore[no-untyped-call] # the library gives it no types
        if not client.connect():
            raise LinkLost(f"{self._where} does not take a connection any more")
        if self._settings.host is not None or misses < _PATIENCE:
            return 0.0
        return float(min(_LONGEST_REST, request.every / 1000 * 2.0 ** min(misses - _PATIENCE, 20)))

    def _rest(self, schedule: Schedule[int], unit_id: int, until: float) -> None:
        for at, request in self._requests.items():
            if request.unit_id == unit_id:
                schedule.put_off(at, until)

    def _take(self, into: Decoded, request: Request, registers: Sequence[int], time: int | None) -> None:
        for one in request.wanted:
            at = one.address - request.address
            try:
                value = value_of(registers[at : at + WIDTH[one.type]], one)
            except ValueRefused as error:
                into.refuse("not a number", f"{one.point}: {error}")
            else:
                self._doors.admit(into, one.point, time, value, one.unit)

    @property
    def _where(self) -> str:
        settings = self._settings
        return f"{settings.host}:{settings.tcp_port}" if settings.host else f"port {settings.port}"

    def _client(self) -> Client:
        from pymodbus.client import ModbusSerialClient, ModbusTcpClient  # slow, and only for those who have such

        logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)  # what goes wrong stands in our health
        settings = self._settings
        seconds = settings.answer_within / 1000
        if settings.host is not None:
            return ModbusTcpClient(settings.host, port=settings.tcp_port, timeout=seconds, retries=0)
        return ModbusSerialClient(
            settings.port or "",
            timeout=seconds,
            retries=0,
            baudrate=settings.baud,
            bytesize=int(settings.framing[0]),
            parity=settings.framing[1],
            stopbits=int(settings.framing[2]),
        )
