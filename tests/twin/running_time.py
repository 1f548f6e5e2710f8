"""How long did the daemon run between two instants? Wall time without the spans in which it was off."""

from __future__ import annotations


class RunningTime:
    """The spans in which the daemon did not run, and what they do to a length of time."""

    def __init__(self) -> None:
        self._off: list[tuple[int, int]] = []

    def was_off(self, begin: int, end: int) -> None:
        """Nothing counts in begin <= t < end (ms UTC)."""
        if end > begin:
            self._off.append((begin, end))

    def passed(self, since: int, until: int) -> int:
        """Milliseconds of [since, until) that lie in no off span; overlapping spans count once."""
        total = until - since
        reached = since
        for begin, end in sorted(self._off):
            first, last = max(begin, reached), min(end, until)
            if last > first:
                total -= last - first
                reached = last
        return total

    def due(self, since: int, length: int) -> int:
        """The earliest t >= since at which `length` ms of running time have passed."""
        t = since + length
        while (lacking := length - self.passed(since, t)) > 0:
            t += lacking
        return t
