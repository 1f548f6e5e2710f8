"""How is one place listened to for a while: a broker, a serial port, or the kernel's sensors?"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Protocol

from adapters.intake import Delivery
from adapters.serial_line.cutting import Cutter
from adapters.serial_port import Port, PortSettings
from adapters.sysfs.connection import SysfsAdapter
from adapters.sysfs.settings import SysfsSettings
from adapters.sysfs.texts import UNITS, kind_of
from daemon.clock import SystemClock
from daemon.listening.heard import Heard, Keys, Place
from daemon.listening.payloads import LineForm, columns_in, form_of, numbers_in
from rules.durations import SECOND
from rules.errors import SettingError
from rules.plan import PointPlan

Tell = Callable[[Place], None]
_LONGEST_LINE = 512
_SENSORS_EVERY = 2 * SECOND


class Source(Protocol):
    """Somewhere to listen. `entries`: the list of points in the adapter's table; polled: seconds between two askings
    of what says nothing by itself, None for what does."""

    entries: str
    polled: float | None

    def listen(self, heard: Heard, tell: Tell, seconds: float) -> None:
        """Fill `heard` for so long; `tell` hears of each new place. Raises OSError or TidebedError."""

    def adapter(self) -> Keys:
        """The keys of its table in a site file, `kind` among them."""


@dataclass(slots=True)
class BrokerSource:
    """Everything that a message broker lets us read."""

    host: str
    port: int
    username: str | None = None
    password_file: Path | None = None
    topic: str = "#"
    tls: bool = False
    ca_file: Path | None = None
    entries: str = "topics"
    polled: float | None = None

    def listen(self, heard: Heard, tell: Tell, seconds: float) -> None:
        """Subscribe and hear; what the broker had kept counts as a value, not for the interval."""
        from paho.mqtt.client import Client, MQTTMessage
        from paho.mqtt.enums import CallbackAPIVersion

        refused: list[str] = []

        def take(_client: Client, _userdata: object, message: MQTTMessage) -> None:
            self._take(heard, tell, message.topic, bytes(message.payload), message.retain)

        client = Client(CallbackAPIVersion.VERSION2)
        client.on_message = take
        client.on_connect = lambda one, _u, _f, reason, _p: (
            refused.append(str(reason)) if reason.is_failure else one.subscribe(self.topic)
        )
        if self.username is not None:
            client.username_pw_set(self.username, self._password())
        if self.tls:
            client.tls_set(ca_certs=None if self.ca_file is None else str(self.ca_file))
        client.connect_timeout = 5.0
        client.connect(self.host, self.port)
        until = time.monotonic() + seconds
        try:
            while time.monotonic() < until and not refused:
                client.loop(0.1)
        finally:
            client.disconnect()
        if refused:
            raise SettingError(f"the broker at {self.host}:{self.port} does not let us in: {refused[0]}")

    def adapter(self) -> Keys:
        """The connection."""
        table: dict[str, str | int] = {"kind": "mqtt", "host": self.host, "port": self.port}
        if self.tls:
            table["tls"] = True
        if self.ca_file is not None:
            table["ca_file"] = str(self.ca_file.absolute())
        if self.username is not None:
            table["username"] = self.username
        if self.password_file is not None:
            table["password_file"] = str(self.password_file.absolute())
        return table

    def _password(self) -> str | None:
        return None if self.password_file is None else self.password_file.read_text(encoding="utf-8").rstrip("\r\n")

    def _take(self, heard: Heard, tell: Tell, topic: str, payload: bytes, retained: bool) -> None:
        if topic.startswith("$") or len(payload) > 65_536:
            return
        numbers = numbers_in(payload)
        if not numbers:
            heard.what_not.setdefault(topic, payload[:60].decode("utf-8", "replace"))
        for found in numbers:
            how: dict[str, str | int] = {"topic": topic}
            address = topic
            if found.payload != "plain":
                how["payload"] = found.payload
                how["value" if found.payload == "json" else "name"] = found.where
                address = f"{topic} {found.where}"
            at = None if retained else time.monotonic()
            new = heard.add(address, how, found.value, at, found.unit)
            if new is not None:
                tell(new)


@dataclass(slots=True)
class PortSource:
    """The lines of a serial port."""

    path: str
    baud: int = 9600
    entries: str = "fields"
    polled: float | None = None
    form: LineForm | None = None

    def listen(self, heard: Heard, tell: Tell, seconds: float) -> None:
        """The first line with numbers tells the form; a line of words before it names the columns."""
        until = time.monotonic() + seconds
        cutter = Cutter(_LONGEST_LINE)
        names: list[str] = []
        with Port(PortSettings.model_validate({"port": self.path, "baud": self.baud})) as port:
            while time.monotonic() < until:
                data = port.read(0.2)
                lines = cutter.feed(data)[0] if data else []
                if not data:
                    cutter.quiet()
                for line in lines:
                    form = self.form or form_of(line)
                    if form is None or not any(columns_in(line, form)):
                        text = line.decode("utf-8", "replace")
                        words = [name.strip() for name in text.replace(";", ",").replace("\t", ",").split(",")]
                        if len(words) > 1:
                            names = words
                        else:
                            heard.what_not.setdefault(self.path, text[:60])
                        continue
                    self.form = form
                    self._take(heard, tell, line, form, names)

    def adapter(self) -> Keys:
        """The port and the form of its lines."""
        table: dict[str, str | int] = {"kind": "serial_line", "port": self.path, "baud": self.baud}
        if self.form is not None:
            table["line"] = self.form.line
            if self.form.line in ("csv", "pairs"):
                table["separator"] = self.form.separator
            if self.form.line == "pairs":
                table["assign"] = self.form.assign
        return table

    def _take(self, heard: Heard, tell: Tell, line: bytes, form: LineForm, names: list[str]) -> None:
        for column, value in columns_in(line, form):
            key = {"csv": "at", "pairs": "key", "json": "value"}.get(form.line)
            how: dict[str, str | int] = {} if key is None else {key: column}
            address = str(column) or "line"
            if isinstance(column, int):
                address = f"column {column}"
            new = heard.add(address, how, value, time.monotonic())
            if isinstance(column, int) and column <= len(names) and address in heard.places:
                heard.places[address].address = f"{address} {names[column - 1]}"
            if new is not None:
                tell(new)


@dataclass(slots=True)
class SysfsSource:
    """All one-wire probes and industrial I/O channels of a kernel."""

    root: Path
    entries: str = "one_wire"
    polled: float | None = 60.0

    def listen(self, heard: Heard, tell: Tell, seconds: float) -> None:
        """Read each by the adapter itself every two seconds, so that what is heard is what will be stored."""
        found = self._sensors()
        if not found:
            raise SettingError(f"the kernel shows no one-wire probe and no sensor under {self.root}")
        points = {
            f"p{at}": PointPlan(f"p{at}", "ratio", unit or "1", Fraction(1, 10**6))
            for at, (_, _, unit) in enumerate(found)
        }
        table: dict[str, object] = {"root": self.root, "every": f"{_SENSORS_EVERY} ms"}
        for at, (_, how, unit) in enumerate(found):
            listed = table.setdefault(str(how["list"]), [])
            assert isinstance(listed, list)
            own = {key: value for key, value in how.items() if key != "list"}
            listed.append(own | {"point": f"p{at}"} | ({} if unit else {"unit": "1"}))
        adapter = SysfsAdapter(SysfsSettings.model_validate(table), points, "listen")
        lock = threading.Lock()

        class Ear:
            """Hears what the adapter delivers, on its thread."""

            def put(self, delivery: Delivery) -> None:
                """Note the readings."""
                with lock:
                    for reading in delivery.readings:
                        address, how, unit = found[int(reading.point[1:])]
                        value = Decimal(reading.counts).scaleb(-6).normalize()
                        new = heard.add(address, how, value, time.monotonic(), unit)
                        if new is not None:
                            tell(new)
                    for refusal in delivery.refusals:
                        heard.what_not.setdefault(refusal.detail.partition(": ")[2] or refusal.cause, refusal.cause)

        adapter.start(Ear(), SystemClock())
        try:
            time.sleep(seconds)
        finally:
            adapter.stop()

    def adapter(self) -> Keys:
        """Where the kernel shows them."""
        own = {} if str(self.root) == "/sys" else {"root": str(self.root.absolute())}
        return {"kind": "sysfs", **own, "every": f"{self.polled:.0f} s"}

    def _sensors(self) -> list[tuple[str, dict[str, str | int], str | None]]:
        """(address, keys, unit) of every sensor there is."""
        found: list[tuple[str, dict[str, str | int], str | None]] = []
        for folder in sorted((self.root / "bus" / "w1" / "devices").glob("[0-9a-f][0-9a-f]-*")):
            if (folder / "w1_slave").exists() or (folder / "temperature").exists():
                how: dict[str, str | int] = {"list": "one_wire", "id": folder.name}
                found.append((f"{folder.name} temperature", how, "degC"))
        for folder in sorted((self.root / "bus" / "iio" / "devices").glob("iio:device*")):
            channels = {
                file.name.removeprefix("in_").rpartition("_")[0]
                for ending in ("input", "raw")
                for file in folder.glob(f"in_*_{ending}")
            }
            for channel in sorted(channels):
                unit = UNITS.get(kind_of(channel), (None,))[0]
                how = {"list": "industrial", "device": folder.name, "channel": channel}
                found.append((f"{folder.name} {channel}", how, unit))
        return found
