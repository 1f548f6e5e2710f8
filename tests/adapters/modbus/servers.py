"""Which Modbus devices do tests talk to? pymodbus's own server, and slaves of a serial line after the standard."""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from tests.brokers import free_port
from tests.waiting import until


def device(number: int, registers: list[int], delay: list[float] | None = None) -> SimDevice:
    """A device with `registers` from address 0; each read is answered after `delay[0]` seconds."""

    async def wait(*_: object) -> None:
        if delay:
            await asyncio.sleep(delay[0])

    return SimDevice(number, simdata=[SimData(0, values=list(registers), datatype=DataType.REGISTERS)], action=wait)


_TURNS = 10
"""Of the server's loop: an accepted connection becomes a transport in three, a closed one closes its socket in one."""


async def _end(server: ModbusTcpServer) -> None:
    """Leave no socket to the collector: one that was accepted but has no transport yet is closed by nobody."""
    listening = server.transport
    assert isinstance(listening, asyncio.Server)
    for socket in listening.sockets:
        asyncio.get_running_loop().remove_reader(socket)
    await _turns()
    await server.shutdown()  # type: ignore[no-untyped-call] # the library gives it no types
    rest = asyncio.all_tasks() - {asyncio.current_task()}
    for task in rest:
        task.cancel()
    await asyncio.gather(*rest, return_exceptions=True)
    await _turns()


async def _turns() -> None:
    for _ in range(_TURNS):
        await asyncio.sleep(0)


@contextmanager
def tcp_server(devices: list[SimDevice]) -> Iterator[int]:
    """A running server on a loopback port, which is given."""
    port = free_port()
    loop = asyncio.new_event_loop()
    running: list[ModbusTcpServer] = []

    async def serve() -> None:
        server = ModbusTcpServer(devices, address=("127.0.0.1", port))
        running.append(server)
        with contextlib.suppress(asyncio.CancelledError):
            await server.serve_forever(background=True)

    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    asyncio.run_coroutine_threadsafe(serve(), loop).result(10)
    until(lambda: running)
    try:
        yield port
    finally:
        asyncio.run_coroutine_threadsafe(_end(running[0]), loop).result(10)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(10)
        loop.close()


def crc_of_the_standard(data: bytes) -> bytes:
    """MODBUS over Serial Line V1.02, 6.2.2: bit by bit; low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return bytes((crc & 0xFF, crc >> 8))


class Slaves:
    """Slaves of one serial line: `answer` is for `Answering`.

    registers: unit id -> registers from 0. silent: units that do not answer. spoil: every so many-th answer has a
    wrong CRC. late: unit -> seconds before its answer.
    """

    def __init__(self, registers: dict[int, list[int]], spoil: int = 0) -> None:
        self.registers = registers
        self.silent: set[int] = set()
        self.late: dict[int, float] = {}
        self.spoil = spoil
        self.asked: list[tuple[int, int, int]] = []

    def answer(self, held: bytes) -> tuple[bytes, bytes] | None:
        """A read request has 8 bytes."""
        if len(held) < 8:
            return None
        frame, rest = held[:8], held[8:]
        unit, function = frame[0], frame[1]
        address, count = int.from_bytes(frame[2:4], "big"), int.from_bytes(frame[4:6], "big")
        if crc_of_the_standard(frame[:6]) != frame[6:] or unit not in self.registers or unit in self.silent:
            return b"", rest
        self.asked.append((unit, address, count))
        time.sleep(self.late.get(unit, 0.0))  # the slave is slow; nothing waits for it by this
        found = self.registers[unit][address : address + count]
        if len(found) < count:
            said = bytes((unit, function | 0x80, 2))
        else:
            said = bytes((unit, function, 2 * count)) + b"".join(word.to_bytes(2, "big") for word in found)
        crc = crc_of_the_standard(said)
        if self.spoil and len(self.asked) % self.spoil == 0:
            crc = bytes((crc[0] ^ 1, crc[1]))
        return said + crc, rest
