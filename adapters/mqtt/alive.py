"""How is a device that sends only changes told from one that is gone? Its last value is repeated while it is there."""

from __future__ import annotations

from collections.abc import Mapping

from adapters.intake import Arrived
from adapters.mqtt.settings import TopicSettings
from rules.flags import Flag
from rules.plan import PointPlan


class Alive:
    """Which devices are there, by their birth and last-will messages, and what each of their points last said.

    Times are seconds of a monotonic clock. Repeats have no time of their own: they are dated on arrival.
    """

    def __init__(self, topics: tuple[TopicSettings, ...], points: Mapping[str, PointPlan]) -> None:
        self._words = {topic.alive: frozenset(topic.alive_words) for topic in topics if topic.alive is not None}
        self._points = points
        self._there: set[str] = set()
        self._last: dict[str, tuple[str, int, int, float]] = {}
        """point -> (alive topic, counts, flag, when it was last sent or repeated)."""

    @property
    def topics(self) -> tuple[str, ...]:
        """The alive topics, each once."""
        return tuple(self._words)

    def told(self, topic: str, payload: bytes, now: float) -> bool:
        """Take a message on an alive topic; False where `topic` is none."""
        words = self._words.get(topic)
        if words is None:
            return False
        if payload.decode("utf-8", "replace").strip() in words:
            if topic not in self._there:
                self._there.add(topic)
                for point, (of, counts, flag, _) in self._last.items():
                    if of == topic:
                        # As of long ago: what is known counts from the moment at which the device is there again.
                        self._last[point] = (of, counts, flag, now - self._every(point))
        else:
            self._there.discard(topic)
        return True

    def heard(self, topic: str, reading: Arrived, now: float, *, kept: bool) -> None:
        """A device with this alive topic sent a reading; kept: the broker had it from before, so it is due at once."""
        if reading.flag != Flag.MISSING:
            known = self._last.get(reading.point)
            if kept and known is not None and known[:3] == (topic, reading.counts, reading.flag):
                return  # the broker says again what we have
            when = now - self._every(reading.point) if kept else now
            self._last[reading.point] = (topic, reading.counts, reading.flag, when)

    def due(self, now: float) -> list[Arrived]:
        """The last values of devices that are there, where the next is expected by now."""
        repeated = []
        for point, (topic, counts, flag, when) in self._last.items():
            if topic in self._there and now - when >= self._every(point):
                repeated.append(Arrived(point, None, counts, flag))
                self._last[point] = (topic, counts, flag, now)
        return repeated

    def _every(self, point: str) -> float:
        return self._points[point].expect_every / 1000
