"""What has come in and is not judged yet, and at which instant will each thing be judged?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rules.acts import Act
from rules.block import Block
from tests.twin.history import History, Reading


class Inbox:
    """Readings and acts that wait for their instant."""

    def __init__(self) -> None:
        self.behind: list[tuple[str, int]] = []
        """(point, time) of the readings of the last step that came behind the frontier."""
        self.repeats = 0
        self.contradicted = 0
        self._seen: dict[tuple[str, int], int] = {}
        self._late: dict[str, list[Reading]] = {}
        self._readings: dict[int, list[tuple[str, Reading]]] = {}
        self._acts: list[tuple[int, Act]] = []

    def take(self, blocks: Iterable[Block], acts: Iterable[Act], frontier: int) -> None:
        """Sort what came with one step into what is ahead of the frontier and what is behind it."""
        self.behind = []
        for block in blocks:
            columns = (block.times.tolist(), block.values.tolist(), block.flags.tolist())
            for time, counts, flag in zip(*columns, strict=True):
                self._take_reading(block.point, Reading(time, counts, flag), frontier)
        for act in acts:
            self._acts.append((max(act.time, frontier + 1), act))

    def _take_reading(self, point: str, reading: Reading, frontier: int) -> None:
        identity = (point, reading.time)
        if identity in self._seen:
            if self._seen[identity] == reading.counts:
                self.repeats += 1
            else:
                self.contradicted += 1
            return
        self._seen[identity] = reading.counts
        if reading.time > frontier:
            self._readings.setdefault(reading.time, []).append((point, reading))
        else:
            self.behind.append(identity)
            self._late.setdefault(point, []).append(reading)

    def place_late(self, instant: int, histories: Mapping[str, History]) -> None:
        """Of the readings that came behind, the newest of a point will be judged at `instant` if nothing is newer."""
        for point, readings in self._late.items():
            newest = max(readings, key=lambda reading: reading.time)
            judged = histories[point].newest
            own = any(other == point for other, _ in self._readings.get(instant, []))
            if not own and (judged is None or newest.time > judged):
                self._readings.setdefault(instant, []).append((point, newest))
        self._late = {}

    def instants(self) -> list[int]:
        """The instants at which something is to be judged."""
        return [*self._readings, *(instant for instant, _ in self._acts)]

    def acts_at(self, instant: int) -> list[Act]:
        """Take out the acts of one instant: by their own time, then as they came."""
        now = [act for when, act in self._acts if when == instant]
        self._acts = [(when, act) for when, act in self._acts if when != instant]
        return sorted(now, key=lambda act: act.time)

    def readings_at(self, instant: int) -> list[tuple[str, Reading]]:
        """Take out the readings of one instant."""
        return self._readings.pop(instant, [])
