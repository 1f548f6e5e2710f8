"""A store, a forwarder and a remote store in memory, for tests of what gets there."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

from adapters.remote_store import Answer, Written
from daemon.forward import Forwarder
from daemon.store import Store
from rules.door import as_decimal
from rules.durations import DAY
from rules.flags import Flag
from rules.plan import PointPlan

WATER = PointPlan("tank.temperature", "water_temperature", "degC", Fraction(1, 1000))
LEVEL = PointPlan("bed2.level", "level", "mm", Fraction(1, 10))
MIDNIGHT = 20_547 * DAY

Reading = tuple[str, int, Decimal | None, int]
"""Point, time, value (None: missing), flag."""


class Server:
    """A remote store in memory. `answers` come first, then it takes everything."""

    def __init__(self) -> None:
        self.answers: list[Written] = []
        self.down = False
        self.most = 10**9
        """Lines beyond which it says that a request is too large."""
        self.poison = ""
        """A line with this in it is malformed to it."""
        self.got: Counter[Reading] = Counter()
        self.holds: dict[tuple[str, int], int] = {}
        """Point and time -> the flag that came last."""
        self.requests: list[int] = []
        self.before_answer: Callable[[], object] = lambda: None

    def write(self, lines: Sequence[str]) -> Written:
        """As Remote."""
        if self.down:
            return Written(Answer.NOT_NOW, "no answer")
        if self.answers:
            return self.answers.pop(0)
        if len(lines) > self.most or (self.poison and any(self.poison in line for line in lines)):
            return Written(Answer.TOO_LARGE, "the server answered 400")
        self.requests.append(len(lines))
        came = [parsed(line) for line in lines]
        self.got.update(came)
        self.holds |= {(point, time): flag for point, time, _, flag in came}
        self.before_answer()
        return Written(Answer.ACCEPTED)


def parsed(line: str) -> Reading:
    """A line as a reading."""
    head, fields_text, stamp = line.split(" ")
    tags = dict(pair.split("=") for pair in head.split(",")[1:])
    fields = dict(pair.split("=") for pair in fields_text.split(","))
    value = Decimal(fields["value"]) if "value" in fields else None
    assert tags["site"] == "valley"
    return tags["point"], int(stamp), value, int(fields["flag"].rstrip("i"))


def stored(store: Store) -> set[Reading]:
    """All readings of the store."""
    plans = {plan.id: plan for plan in (WATER, LEVEL)}
    return {
        (point, t, None if flag == Flag.MISSING else as_decimal(value, plans[point].resolution), flag)
        for point in store.points()
        for part in store.read(point, -(2**62), 2**62)
        for t, value, flag in zip(part.times.tolist(), part.values.tolist(), part.flags.tolist(), strict=True)
    }


class Site:
    """A store, a server and a forwarder."""

    def __init__(self, path: Path) -> None:
        self.store = Store(path, [WATER, LEVEL])
        self.server = Server()
        self.forwarder = self.new_forwarder()

    def new_forwarder(self, most: int = 100) -> Forwarder:
        """As after a restart."""
        self.forwarder = Forwarder(self.store.path, self.server, "valley", every=10.0, most=most, rng=random.Random(5))
        return self.forwarder

    def step_on(self, most: int = 1000) -> list[float]:
        """Step until there is nothing left to do at once; returns the waits."""
        waits = []
        for _ in range(most):
            waits.append(self.forwarder.step())
            if waits[-1] > 0:
                break
        return waits

    def seal(self, now: int) -> int:
        """Seal all that is over; returns how many days of points."""
        count = 0
        while self.store.seal_step(now):
            count += 1
        return count

    def close(self) -> None:
        """Close all."""
        self.forwarder.close()
        self.store.close()
