"""Which Modbus devices answer, and what stands in their registers? Asked for by name: a scan speaks on the line."""

from __future__ import annotations

import logging
import time
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from daemon.listening.heard import Heard, Keys
from daemon.listening.sources import Tell
from rules.errors import SettingError

if TYPE_CHECKING:
    from pymodbus.client import ModbusSerialClient, ModbusTcpClient

    Client = ModbusSerialClient | ModbusTcpClient

_WITHIN = 0.5
_AT_ONCE = 8
_PAUSE = 2.0
_MOST_REGISTERS = 200
TABLES = ("holding", "input")


def span(text: str, least: int, most: int) -> range:
    """The numbers of a text such as `1-10` or `3`; raises SettingError."""
    first, dash, last = text.partition("-")
    last = last if dash else first
    if not (first.strip().isdecimal() and last.strip().isdecimal() and least <= int(first) <= int(last) <= most):
        raise SettingError(f"{text!r} is no span between {least} and {most}; write it as 1-10")
    return range(int(first), int(last) + 1)


@dataclass(slots=True)
class RegisterSource:
    """The devices of a serial line (tcp_port None), or those behind a TCP port. Reads only; nothing is written."""

    where: str
    tcp_port: int | None
    baud: int | None
    units: range
    registers: range
    entries: str = "registers"
    polled: float | None = 10.0
    there: list[tuple[int, str, int, int]] = field(default_factory=list)
    """(unit id, table, first address, size) of the blocks that a device has."""

    def listen(self, heard: Heard, tell: Tell, seconds: float) -> None:
        """Find who answers, then read on until the time is over, once at least."""
        if len(self.registers) > _MOST_REGISTERS:
            raise SettingError(f"--registers: at most {_MOST_REGISTERS} at once, since each is asked for")
        until = time.monotonic() + seconds
        client = self._client()
        if not client.connect():
            raise SettingError(f"{self._named} does not take a connection; is it on, and the address right?")
        try:
            for unit in self.units:
                for table in TABLES:
                    blocks = self._blocks(client, unit, table, self.registers)
                    if blocks is None:
                        break
                    self.there += [(unit, table, first, size) for first, size in blocks]
            while self.there:
                self._read(client, heard, tell)
                if time.monotonic() + _PAUSE >= until:
                    return
                time.sleep(_PAUSE)
        finally:
            client.close()  # type: ignore[no-untyped-call] # the library gives it no types

    def adapter(self) -> Keys:
        """The line or the host."""
        way: Keys = {"port": self.where, "baud": self.baud or 9600}
        if self.tcp_port is not None:
            way = {"host": self.where, "tcp_port": self.tcp_port}
        return {"kind": "modbus", **way, "every": f"{self.polled:.0f} s"}

    def _blocks(self, client: Client, unit: int, table: str, registers: range) -> list[tuple[int, int]] | None:
        """Which of the registers can be read, in blocks; None where nobody answers at all."""
        blocks: list[tuple[int, int]] = []
        for first in range(registers.start, registers.stop, _AT_ONCE):
            size = min(_AT_ONCE, registers.stop - first)
            whole = self._ask(client, unit, table, first, size)
            if whole is None:
                return blocks or None
            if whole:
                blocks.append((first, size))
            elif size > 1:
                # One that is not there spoils the whole request.
                single = ((at, self._ask(client, unit, table, at, 1)) for at in range(first, first + size))
                blocks += [(at, 1) for at, found in single if found]
        return blocks

    def _ask(self, client: Client, unit: int, table: str, first: int, size: int) -> list[int] | None:
        """The registers; none where the device refuses, None where it does not answer."""
        from pymodbus.exceptions import ModbusException

        read = client.read_holding_registers if table == "holding" else client.read_input_registers
        try:
            answer = read(first, count=size, device_id=unit)
        except ModbusException:
            client.close()  # type: ignore[no-untyped-call] # a late answer must not be taken for the next
            if not client.connect():
                raise SettingError(f"{self._named} does not take a connection any more") from None
            return None
        return [] if answer.isError() else list(answer.registers)

    def _read(self, client: Client, heard: Heard, tell: Tell) -> None:
        for unit, table, first, size in self.there:
            for at, word in enumerate(self._ask(client, unit, table, first, size) or ()):
                how: Keys = {"unit_id": unit, "table": table, "address": first + at, "type": "int16"}
                value = Decimal(word - 65_536 if word > 32_767 else word)
                new = heard.add(f"device{unit}/{table}{first + at}", how, value, time.monotonic())
                if new is not None:
                    tell(new)

    @property
    def _named(self) -> str:
        return f"port {self.where}" if self.tcp_port is None else f"{self.where}:{self.tcp_port}"

    def _client(self) -> Client:
        from pymodbus.client import ModbusSerialClient, ModbusTcpClient

        logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)  # who does not answer is no trouble here
        if self.tcp_port is not None:
            return ModbusTcpClient(self.where, port=self.tcp_port, timeout=_WITHIN, retries=0)
        return ModbusSerialClient(self.where, baudrate=self.baud or 9600, timeout=_WITHIN, retries=0)
