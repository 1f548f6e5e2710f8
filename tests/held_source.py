"""A source of readings that a test holds in its hands."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rules.block import Block


class HeldSource:
    """One sorted block a point."""

    def __init__(self, blocks: Mapping[str, Block]) -> None:
        self._blocks = blocks

    def points(self) -> list[str]:
        """The points that have readings."""
        return [point for point, part in self._blocks.items() if len(part)]

    def span(self) -> tuple[int, int] | None:
        """First and last time over all points in ms UTC."""
        times = [int(t) for part in self._blocks.values() for t in part.times]
        return (min(times), max(times)) if times else None

    def read(self, point: str, after: int, upto: int) -> Iterator[Block]:
        """What lies in after < time <= upto."""
        part = self._blocks[point].between(after, upto) if point in self._blocks else None
        if part is not None and len(part):
            yield part
