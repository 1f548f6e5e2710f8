"""How do the lines of a board live: edges as they come, states and flows at their interval?

The request to the kernel was not tried on a real line: in tests a stand-in takes the place of `open_lines`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import timedelta
from decimal import Decimal
from typing import Any, Protocol

from adapters.backoff import Backoff
from adapters.digital_inputs.counting import PulseCounter, flow
from adapters.digital_inputs.settings import DigitalInputsSettings, LineSettings
from adapters.intake import Arrived
from adapters.pace import Pace
from adapters.payloads.decoded import Decoded
from adapters.payloads.doors import Doors
from adapters.supervised import LinkLost, Supervised
from rules.door import door
from rules.errors import UnitError, ValueRefused
from rules.flags import Flag
from rules.plan import PointPlan
from rules.units import parse_unit

_TURN = 0.5


class Lines(Protocol):
    """The lines of a chip, requested from the kernel."""

    def edges(self, timeout: float) -> list[tuple[int, bool]]:
        """(line, whether it rose) of each change in order; waits `timeout` seconds for the first. Raises OSError."""

    def value(self, line: int) -> bool:
        """Whether the line is active now. Raises OSError."""

    def close(self) -> None:
        """Give the lines back."""


class DigitalInputsAdapter(Supervised):
    """Readings of switches at each change and at each interval, and of pulse meters at each interval."""

    def __init__(
        self,
        settings: DigitalInputsSettings,
        points: Mapping[str, PointPlan],
        site: str,
        *,
        name: str = "digital_inputs",
        pace: Pace | None = None,
        backoff: Backoff | None = None,
        request: Callable[[DigitalInputsSettings], Lines] | None = None,
    ) -> None:
        """site: not used; request: in place of the kernel's lines."""
        super().__init__(name, self._watch, pace=pace, backoff=backoff)
        self._settings = settings
        self._points = points
        self._doors = Doors(points)
        self._request = request or open_lines

    def _watch(self, _own: Supervised) -> None:
        lines = self._request(self._settings)
        by_number = {line.line: line for line in self._settings.lines}
        every = self._settings.every
        try:
            self.connected()
            now = self._ms()
            counters = {number: PulseCounter(now) for number, line in by_number.items() if line.use == "pulses"}
            self._states(lines)
            due = now + every
            while not self.stopping.is_set():
                changed = Decoded()
                for number, rose in lines.edges(min(_TURN, max(0, due - self._ms()) / 1000)):
                    if number in counters:
                        if rose:
                            counters[number].pulse()
                    elif number in by_number:
                        # The next free millisecond is found by whoever dates it: a contact may bounce within one.
                        self._doors.admit(changed, by_number[number].point, None, Decimal(rose), None)
                self.deliver(changed)
                now = self._ms()
                if now >= due:
                    self._states(lines)
                    self._flows(counters, by_number, now)
                    due += every * ((now - due) // every + 1)
        finally:
            lines.close()

    def _ms(self) -> int:
        return round(self.pace.monotonic() * 1000)

    def _states(self, lines: Lines) -> None:
        decoded = Decoded()
        for line in self._settings.lines:
            if line.use == "state":
                self._doors.admit(decoded, line.point, None, Decimal(lines.value(line.line)), None)
        self.deliver(decoded)

    def _flows(self, counters: Mapping[int, PulseCounter], lines: Mapping[int, LineSettings], now: int) -> None:
        decoded = Decoded()
        for number, counter in counters.items():
            line = lines[number]
            pulses, elapsed = counter.take(now)
            point = self._points[line.point]
            try:
                way = door(parse_unit("L/min"), point.units, point.resolution)
                counts, _ = way.count(flow(pulses, elapsed, line.pulses_per_litre or Decimal(1)))
            except (UnitError, ValueRefused) as error:
                decoded.refuse("unit does not fit", f"{line.point}: {error}")
            else:
                decoded.readings.append(Arrived(line.point, self.now(), counts, int(Flag.NOT_EVALUATED)))
        self.deliver(decoded)


class _KernelLines:
    """The kernel's lines, by the library gpiod (version 2)."""

    def __init__(self, settings: DigitalInputsSettings) -> None:
        try:
            import gpiod  # optional, and only where there are lines
            from gpiod.line import Bias, Direction, Edge
        except ImportError:
            raise LinkLost("digital inputs need the package gpiod; install it: pip install gpiod") from None
        bias = {"up": Bias.PULL_UP, "down": Bias.PULL_DOWN, "none": Bias.AS_IS}
        wanted: dict[Any, gpiod.LineSettings | None] = {
            line.line: gpiod.LineSettings(
                direction=Direction.INPUT,
                edge_detection=Edge.BOTH,
                bias=bias[line.pull],
                active_low=line.active_low,
                debounce_period=timedelta(milliseconds=line.debounce),
            )
            for line in settings.lines
        }
        self._active = gpiod.line.Value.ACTIVE
        self._rose = gpiod.EdgeEvent.Type.RISING_EDGE
        try:
            self._request = gpiod.request_lines(settings.chip, consumer="tidebed", config=wanted)
        except (OSError, ValueError) as error:
            raise LinkLost(f"lines of {settings.chip} cannot be had: {error}; are they free, and ours?") from None

    def edges(self, timeout: float) -> list[tuple[int, bool]]:
        """See Lines."""
        if not self._request.wait_edge_events(timedelta(seconds=timeout)):
            return []
        return [(event.line_offset, event.event_type == self._rose) for event in self._request.read_edge_events()]

    def value(self, line: int) -> bool:
        """See Lines."""
        return bool(self._request.get_value(line) == self._active)

    def close(self) -> None:
        """See Lines."""
        self._request.release()


def open_lines(settings: DigitalInputsSettings) -> Lines:
    """Request the lines from the kernel; raises LinkLost."""
    return _KernelLines(settings)
