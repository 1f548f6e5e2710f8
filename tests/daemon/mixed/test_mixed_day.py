"""Does a site that mixes five kinds of wires keep every reading of a whole day?

Each is simulated at the wire: a real broker, pseudo-terminals, a Modbus server of another making, a folder like the
kernel's. The adapters wait by a simulated clock, so that the day takes seconds; nothing else of them is changed.
"""

from __future__ import annotations

import threading
from pathlib import Path

from adapters.modbus.connection import ModbusAdapter
from adapters.mqtt.connection import MqttAdapter
from adapters.sdi12.connection import Sdi12Adapter
from adapters.serial_line.connection import SerialLineAdapter
from adapters.sysfs.connection import SysfsAdapter
from daemon.loop import Loop
from daemon.queue import DeliveryQueue
from daemon.site.load import Site, site_from_text
from daemon.store import Store
from rules.events import Event
from tests.adapters.modbus.servers import device, tcp_server
from tests.adapters.mqtt.listening import send
from tests.adapters.sdi12.probes import Probe, ProbeBus
from tests.adapters.wires import Answering, Wire
from tests.brokers import Broker, broker
from tests.waiting import until

__all__ = ["broker"]

START = 1_775_174_400_000
STEP = 300
"""Seconds between two readings of each probe."""
DAY = 86_400
ROUNDS = DAY // STEP
POLLERS = 3
"""Threads that wait by the simulated time: SDI-12, Modbus, one-wire."""


class SimulatedTime:
    """A clock and a pace that go on when a test says so, and not before every poller waits."""

    def __init__(self) -> None:
        self._now = 0.0
        self._waiting: dict[int, float] = {}
        self._changed = threading.Condition()

    def now(self) -> int:
        return START + round(self._now * 1000)

    def monotonic(self) -> float:
        return self._now

    def wait(self, seconds: float, stopping: threading.Event) -> bool:
        with self._changed:
            due = self._now + max(0.0, seconds)
            me = threading.get_ident()
            self._waiting[me] = due
            self._changed.notify_all()
            while self._now < due and not stopping.is_set():
                self._changed.wait(0.1)
            del self._waiting[me]
        return stopping.is_set()

    def all_wait(self) -> bool:
        """Whether every poller has done what is due."""
        with self._changed:
            return len(self._waiting) == POLLERS and all(due > self._now for due in self._waiting.values())

    def forward(self, seconds: float) -> None:
        """Let so much time pass, from one poller's due time to the next."""
        target = self._now + seconds
        until(self.all_wait)
        while True:
            with self._changed:
                due = min(self._waiting.values())
                self._now = min(due, target)
                self._changed.notify_all()
            if due > target:
                return
            until(self.all_wait)


def site(folder: Path, broker_port: int, modbus_port: int, line: Wire, bus: Wire) -> Site:
    text = f"""
[site]
name = "Mixed"
[[point]]
id = "tank.oxygen"
quantity = "dissolved_oxygen"
expect_every = "{STEP} s"
[[point]]
id = "tank.ph"
quantity = "ph"
expect_every = "{STEP} s"
[[point]]
id = "bed1.moisture"
quantity = "soil_moisture"
expect_every = "{STEP} s"
[[point]]
id = "return.flow"
quantity = "flow"
expect_every = "{STEP} s"
[[point]]
id = "tank.temperature"
quantity = "water_temperature"
expect_every = "{STEP} s"
[[rule]]
id = "flow.low"
kind = "band"
point = "return.flow"
low = 5
priority = "high"
[adapter.mqtt]
host = "127.0.0.1"
port = {broker_port}
[[adapter.mqtt.topics]]
topic = "house/+/+"
point = "{{1}}.{{2}}"
[adapter.board]
kind = "serial_line"
port = "{line.path}"
line = "csv"
fields = [{{ point = "tank.ph", at = 2 }}]
[adapter.soil]
kind = "sdi12"
port = "{bus.path}"
wake = false
framing = "8N1"
every = "{STEP} s"
probes = [{{ address = "0", values = [{{ point = "bed1.moisture", at = 1 }}] }}]
[adapter.meters]
kind = "modbus"
host = "127.0.0.1"
tcp_port = {modbus_port}
every = "{STEP} s"
registers = [{{ point = "return.flow", address = 0, scale = 0.01 }}]
[adapter.kernel]
kind = "sysfs"
root = "{folder}"
every = "{STEP} s"
one_wire = [{{ point = "tank.temperature", id = "28-0316a2795aff" }}]
"""
    return site_from_text(text, folder / "site.toml")


def test_a_day_of_five_kinds_of_wires_is_kept_to_the_last_reading(broker: Broker, tmp_path: Path) -> None:
    """MQTT, serial lines, SDI-12, Modbus and one-wire through the daemon's own loop; a rule sees the flow stop."""
    line, bus = Wire(tmp_path, "usb-board"), Wire(tmp_path, "usb-soil")
    probe = tmp_path / "bus/w1/devices/28-0316a2795aff"
    probe.mkdir(parents=True)
    data = "73 01 4b 46 7f ff 0d 10 41"
    (probe / "w1_slave").write_text(f"{data} : crc=41 YES\n{data} t=23187\n")
    time = SimulatedTime()
    heard: list[Event] = []
    with (
        tcp_server([device(1, [450])]) as modbus_port,
        Answering(bus, ProbeBus(Probe("0", ["+31.5"])).answer),
    ):
        made = site(tmp_path, broker.port, modbus_port, line, bus)
        points = {point.id: point for point in made.plan.points}
        tables = {name: table.settings for name, table in made.adapters.items()}
        mqtt = MqttAdapter(tables["mqtt"], points, "x")  # type: ignore[arg-type] # of the kind that its table is of
        board = SerialLineAdapter(tables["board"], points, "x")  # type: ignore[arg-type]
        soil = Sdi12Adapter(tables["soil"], points, "x", pace=time)  # type: ignore[arg-type]
        meters = ModbusAdapter(tables["meters"], points, "x", pace=time)  # type: ignore[arg-type]
        kernel = SysfsAdapter(tables["kernel"], points, "x", pace=time)  # type: ignore[arg-type]
        adapters = (mqtt, board, soil, meters, kernel)
        store = Store(tmp_path / "store.sqlite", made.plan.points)
        queue = DeliveryQueue(monotonic=time.monotonic)
        loop = Loop(
            made.plan, store, queue, time, adapters,
            listener=lambda events: heard.extend(events), monotonic=time.monotonic, wait=lambda seconds: None,
        )  # fmt: skip
        try:
            for adapter in adapters:
                adapter.start(queue, time)
            until(lambda: all(adapter.health().state == "connected" for adapter in adapters))
            until(mqtt.drained)
            line.send(b"x,cut\n")
            until(lambda: board.health().refused.total() == 1)
            for at in range(1, ROUNDS + 1):
                send(broker.port, f"{7 + at / 1000:.3f}", topic="house/tank/oxygen")
                line.send(f"ph,{6.5 + at / 1000:.3f}\r\n".encode())
                until(lambda at=at: mqtt.health().received == board.health().received == at)  # type: ignore[misc]
                until(time.all_wait)
                loop.turn(time.monotonic())
                time.forward(STEP)
            until(time.all_wait)
            loop.turn(time.monotonic())
            loop.stop()
            loop.run()
            found = {
                point: [(int(t), int(v)) for block in store.read(point, 0, 2**62) for t, v in
                        zip(block.times, block.values, strict=True)]
                for point in points
            }  # fmt: skip
            for point, first in (("tank.oxygen", 7001), ("tank.ph", 6501)):
                assert [value for _, value in found[point]] == [first + at for at in range(ROUNDS)]
            for point, value in (("bed1.moisture", 315), ("return.flow", 450), ("tank.temperature", 23187)):
                assert [v for _, v in found[point]] == [value] * (ROUNDS + 1)
                assert [t for t, _ in found[point]] == [START + at * STEP * 1000 for at in range(ROUNDS + 1)]
            assert loop.tally.behind == loop.tally.repeats == 0
            assert loop.tally.readings == sum(map(len, found.values()))
            assert [event.body["state"] for event in heard if event.type == "alarm"] == ["unacknowledged"]
        finally:
            for adapter in adapters:
                adapter.stop()
            store.close()
