"""Does an adapter that fails, blocks or floods leave the others alone, and say how it stands?"""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

from daemon.clock import SystemClock
from daemon.loop import Loop
from daemon.queue import DeliveryQueue
from daemon.site.adapters import connect
from daemon.site.load import site_from_text
from daemon.store import Store
from tests.adapters.wires import Wire
from tests.waiting import until

ENOUGH = 20
"""Readings of the adapter that is well, one each 100 ms."""


def site_text(folder: Path, flood: Wire, port: int) -> str:
    points = "".join(
        f'[[point]]\nid = "{name}"\nquantity = "water_temperature"\n'
        for name in ("a.good", "a.flood", "a.gone", "a.mute")
    )
    return f"""
{points}
[adapter.good]
kind = "sysfs"
root = "{folder}"
every = "100 ms"
one_wire = [{{ point = "a.good", id = "28-0316a2795aff" }}]
[adapter.flood]
kind = "serial_line"
port = "{flood.path}"
fields = [{{ point = "a.flood" }}]
[adapter.gone]
kind = "serial_line"
port = "/dev/no-such-port"
fields = [{{ point = "a.gone" }}]
[adapter.mute]
kind = "modbus"
host = "127.0.0.1"
tcp_port = {port}
every = "100 ms"
answer_within = "5 s"
registers = [{{ point = "a.mute", address = 0 }}]
"""


@contextlib.contextmanager
def mute_server() -> Iterator[int]:
    """It takes connections and never says a word."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        yield int(listening.getsockname()[1])


@contextlib.contextmanager
def flooding(wire: Wire) -> Iterator[None]:
    """Lines as fast as the wire takes them, good and bad."""
    ending = threading.Event()

    def pour() -> None:
        with contextlib.suppress(OSError):
            while not ending.is_set():
                wire.send(b"21.5\r\nx\r\n" * 50)

    thread = threading.Thread(target=pour, daemon=True)
    thread.start()
    try:
        yield
    finally:
        ending.set()
        # What waits in the wire is read away, so that the thread can end.
        while thread.is_alive():
            wire.drain()
            thread.join(0.05)


def test_one_that_fails_one_that_blocks_and_one_that_floods_do_not_stop_another(tmp_path: Path) -> None:
    """The store keeps filling from the probe that is well; each of the others says what is wrong, by cause."""
    probe = tmp_path / "bus/w1/devices/28-0316a2795aff"
    probe.mkdir(parents=True)
    data = "73 01 4b 46 7f ff 0d 10 41"
    (probe / "w1_slave").write_text(f"{data} : crc=41 YES\n{data} t=23187\n")
    wire = Wire(tmp_path, "usb-flood")
    with mute_server() as port, flooding(wire):
        site = site_from_text(site_text(tmp_path, wire, port), tmp_path / "site.toml")
        adapters = {name: connect(table, site.plan) for name, table in site.adapters.items()}
        made = {name: adapter for name, adapter in adapters.items() if adapter is not None}
        store, queue, clock = Store(tmp_path / "store.sqlite", site.plan.points), DeliveryQueue(200), SystemClock()
        loop = Loop(site.plan, store, queue, clock, list(made.values()), commit_every=0.2)
        try:
            for adapter in made.values():
                adapter.start(queue, clock)

            def all_heard() -> bool:
                loop.turn(loop.monotonic() + 0.05)
                # Of the store, as one that was received last may still be on its way when everything ends.
                return (
                    sum(len(block) for block in store.read("a.good", 0, 2**62)) >= ENOUGH
                    and made["flood"].health().received >= 1000
                    and made["gone"].health().state == "waiting"
                )

            until(all_heard)
            health = {name: adapter.health() for name, adapter in made.items()}
            assert health["good"].state == "connected"
            assert health["good"].refused == {}
            assert "cannot be opened" in health["gone"].last_error
            assert health["mute"].received == 0
            assert health["flood"].refused["not a number"] >= 1000
        finally:
            # As the daemon does: an adapter that finds the queue full gives up, instead of waiting for room.
            queue.close()
            for adapter in made.values():
                adapter.stop()
            loop.stop()
            loop.run()
            store.close()
