"""How does a serial port with lines live? Opened, read, lost and opened again, by the same name."""

from __future__ import annotations

from collections.abc import Mapping

from adapters.backoff import Backoff
from adapters.pace import Pace
from adapters.payloads.decoded import Decoded
from adapters.serial_line.cutting import Cutter
from adapters.serial_line.decode import LineDecoder
from adapters.serial_line.settings import SerialLineSettings
from adapters.serial_port import Port
from adapters.supervised import Supervised
from rules.plan import PointPlan

QUIET = 0.5
"""Seconds without a byte after which what was begun will not be completed (common practice, no source)."""


class SerialLineAdapter(Supervised):
    """Readings from the lines of one serial port. What a cable brought while the daemon was away is lost."""

    def __init__(
        self,
        settings: SerialLineSettings,
        points: Mapping[str, PointPlan],
        site: str,
        *,
        name: str = "serial_line",
        pace: Pace | None = None,
        backoff: Backoff | None = None,
    ) -> None:
        """site: not used; every adapter is told the site's name."""
        super().__init__(name, self._listen, pace=pace, backoff=backoff)
        self._settings = settings
        self._decoder = LineDecoder(settings, points)

    def _listen(self, _own: Supervised) -> None:
        with Port(self._settings) as port:
            self.connected()
            cutter = Cutter(self._settings.longest)
            while not self.stopping.is_set():
                data = port.read(QUIET)
                lines, refusals = cutter.feed(data) if data else ([], cutter.quiet())
                decoded = Decoded(refusals=refusals)
                for line in lines:
                    one = self._decoder.decode(line, self.now())
                    decoded.readings += one.readings
                    decoded.refusals += one.refusals
                    decoded.rounded += one.rounded
                    decoded.coarse += one.coarse
                self.deliver(decoded)
