"""How are the kernel's sensors read, each at its interval, a missing one not keeping the others?"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path

from adapters.backoff import Backoff
from adapters.intake import Arrived
from adapters.pace import Pace, Schedule
from adapters.payloads.decoded import Decoded, quote
from adapters.payloads.doors import Doors
from adapters.supervised import Supervised
from adapters.sysfs.settings import IndustrialSettings, OneWireSettings, SysfsSettings
from adapters.sysfs.texts import (
    UNITS,
    TextRefused,
    channel_value,
    kind_of,
    number,
    one_wire_temperature,
    plain_temperature,
)
from rules.flags import Flag
from rules.plan import PointPlan

_LARGEST_TEXT = 4096
_TRIES = 2


class SysfsAdapter(Supervised):
    """Readings of one-wire probes and industrial I/O channels, dated when they were read."""

    def __init__(
        self,
        settings: SysfsSettings,
        points: Mapping[str, PointPlan],
        site: str,
        *,
        name: str = "sysfs",
        pace: Pace | None = None,
        backoff: Backoff | None = None,
    ) -> None:
        """site: not used; every adapter is told the site's name."""
        super().__init__(name, self._poll, pace=pace, backoff=backoff)
        self._settings = settings
        self._doors = Doors(points)

    def _poll(self, _own: Supervised) -> None:
        settings = self._settings
        listed: list[OneWireSettings | IndustrialSettings] = [*settings.one_wire, *settings.industrial]
        sensors = dict(enumerate(listed))
        every = {at: (one.every or settings.every) / 1000 for at, one in sensors.items()}
        schedule = Schedule(every, self.pace.monotonic())
        self.connected()
        while not self.wait(schedule.wait(self.pace.monotonic())):
            for at in schedule.take(self.pace.monotonic()):
                if self.stopping.is_set():
                    return
                self._read(sensors[at])

    def _read(self, sensor: OneWireSettings | IndustrialSettings) -> None:
        decoded = Decoded()
        for left in reversed(range(_TRIES)):
            try:
                if isinstance(sensor, OneWireSettings):
                    value, flag = self._one_wire(sensor)
                    unit: str | None = "degC"
                else:
                    value, unit = self._industrial(sensor)
                    flag = Flag.NOT_EVALUATED
            except TextRefused as error:
                again = left and error.cause == "bad checksum"
                decoded.refuse(f"retried: {error.cause}" if again else error.cause, f"{sensor.point}: {error.detail}")
                if again:
                    continue
            except FileNotFoundError as error:
                decoded.refuse("no such sensor", f"{sensor.point}: there is no {error.filename}")
            except OSError as error:
                decoded.refuse("sensor cannot be read", f"{sensor.point}: {error}")
            else:
                self._admit(decoded, sensor.point, value, unit, flag)
            break
        self.deliver(decoded)

    def _admit(self, into: Decoded, point: str, value: Decimal, unit: str | None, flag: Flag) -> None:
        self._doors.admit(into, point, self.now(), value, unit)
        if flag is not Flag.NOT_EVALUATED:
            into.readings = [Arrived(one.point, one.time, one.counts, int(flag)) for one in into.readings]

    def _one_wire(self, sensor: OneWireSettings) -> tuple[Decimal, Flag]:
        folder = self._settings.root / "bus" / "w1" / "devices" / sensor.id
        checked = folder / "w1_slave"
        if checked.exists() or not (folder / "temperature").exists():
            return one_wire_temperature(_text(checked))
        return plain_temperature(_text(folder / "temperature"))

    def _industrial(self, sensor: IndustrialSettings) -> tuple[Decimal, str | None]:
        folder = self._device(sensor.device)
        kind = kind_of(sensor.channel)
        known, step = UNITS.get(kind, (None, Decimal(1)))
        unit = sensor.unit if sensor.unit is not None else known
        if sensor.unit is not None:
            step = Decimal(1)
        ready = folder / f"in_{sensor.channel}_input"
        if ready.exists():
            return channel_value(number(_text(ready)), Decimal(0), step), unit
        raw = number(_text(folder / f"in_{sensor.channel}_raw"))
        offset = _attribute(folder, sensor.channel, kind, "offset", Decimal(0))
        scale = _attribute(folder, sensor.channel, kind, "scale", Decimal(1))
        return channel_value(channel_value(raw, offset, scale), Decimal(0), step), unit

    def _device(self, name: str) -> Path:
        devices = self._settings.root / "bus" / "iio" / "devices"
        if name.startswith("iio:"):
            return devices / name
        found = [folder for folder in sorted(devices.glob("iio:device*")) if _name(folder) == name]
        if len(found) > 1:
            folders = ", ".join(folder.name for folder in found)
            raise TextRefused("two of that name", f"{name} is {folders}; write one of these as device")
        return found[0] if found else devices / name


def _name(folder: Path) -> str:
    try:
        return _text(folder / "name").strip()
    except OSError:
        return ""


def _attribute(folder: Path, channel: str, kind: str, name: str, default: Decimal) -> Decimal:
    """The channel's own, or that which all channels of its kind share."""
    for file in (folder / f"in_{channel}_{name}", folder / f"in_{kind}_{name}"):
        if file.exists():
            return number(_text(file))
    return default


def _text(file: Path) -> str:
    with file.open("rb") as opened:
        data = opened.read(_LARGEST_TEXT)
    try:
        return data.decode("ascii")
    except UnicodeDecodeError:
        raise TextRefused("not a reading", quote(data[:64])) from None
