"""Does the store always hold just what a plain dictionary would?"""

from __future__ import annotations

import tempfile
from fractions import Fraction
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from daemon.store import Store
from rules.block import block
from rules.durations import DAY
from rules.events import Event
from rules.flags import Flag
from rules.plan import PointPlan
from rules.units import convert, parse_unit

FIRST = 20_546
POINTS = ("tank.temperature", "sump.temperature")
WAYS = (("degC", Fraction(1, 1000)), ("degC", Fraction(1, 10)), ("degF", Fraction(1, 10)))

times = st.builds(lambda day, ms: (FIRST + day) * DAY + ms, st.integers(0, 2), st.sampled_from([0, 1, 2, 7, DAY - 1]))
readings = st.lists(
    st.tuples(st.sampled_from(POINTS), times, st.none() | st.integers(-50, 50), st.sampled_from([1, 2, 3, 4])),
    max_size=12,
)


class StoreAgainstDictionary(RuleBasedStateMachine):
    """Commits, sealing, reopening and changes of unit in any order."""

    @initialize()
    def begin(self) -> None:
        """An empty store and an empty dictionary."""
        self.folder = tempfile.TemporaryDirectory()
        self.path = Path(self.folder.name) / "store.sqlite"
        self.way = WAYS[0]
        self.model: dict[tuple[str, int], tuple[Fraction | None, int]] = {}
        self.events: list[Event] = []
        self.now = (FIRST + 1) * DAY
        self.store = Store(self.path, self.plan())

    def plan(self) -> list[PointPlan]:
        """The points in the present unit and resolution."""
        return [PointPlan(point, "water_temperature", *self.way) for point in POINTS]

    def counts(self, exact: Fraction | None) -> int:
        """A value in degC as counts of the present series."""
        if exact is None:
            return 0
        unit, resolution = self.way
        return round(convert(exact, parse_unit("degC"), parse_unit(unit)) / resolution)

    @rule(given=readings)
    def commit(self, given: list[tuple[str, int, int | None, int]]) -> None:
        """Readings of both points in any order, with repeats."""
        unit, resolution = self.way
        new = contradicted = 0
        for point, time, value, flag in given:
            held = self.model.get((point, time))
            if held is None:
                exact = None if value is None else convert(value * resolution, parse_unit(unit), parse_unit("degC"))
                self.model[point, time] = (exact, int(Flag.MISSING) if value is None else flag)
                new += 1
            else:
                contradicted += self.counts(held[0]) != (value or 0) or (held[0] is None) != (value is None)
        blocks = [block(p, [t], [v], [f]) for p, t, v, f in given]
        event = Event(self.now, "quality", {"why": str(len(self.events))})
        done = self.store.commit(blocks, events=[event], checkpoint={"n": len(self.events)})
        self.events.append(event)
        assert (done.readings, done.contradicted) == (new, contradicted)
        assert done.repeats == len(given) - new - contradicted

    @rule(days=st.integers(0, 1), steps=st.integers(1, 4))
    def seal(self, days: int, steps: int) -> None:
        """Some steps of sealing, perhaps a day later."""
        self.now += days * DAY
        for _ in range(steps):
            self.store.seal_step(self.now)

    @rule(way=st.sampled_from(WAYS))
    def reopen(self, way: tuple[str, Fraction]) -> None:
        """A restart, perhaps with another unit or resolution."""
        self.store.close()
        self.way = way
        self.store = Store(self.path, self.plan())

    @invariant()
    def holds_what_the_dictionary_holds(self) -> None:
        """Every reading, event and the last checkpoint."""
        for point in POINTS:
            got = [
                reading
                for part in self.store.read(point, 0, 2**62)
                for reading in zip(part.times.tolist(), part.values.tolist(), part.flags.tolist(), strict=True)
            ]
            held = sorted((t, self.counts(exact), flag) for (p, t), (exact, flag) in self.model.items() if p == point)
            assert got == held
            assert self.store.latest(point) == (held[-1] if held else None)
        known = [time for _, time in self.model]
        assert self.store.span() == ((min(known), max(known)) if known else None)
        assert self.store.events() == self.events
        assert self.store.checkpoint() == ({"n": len(self.events) - 1} if self.events else None)

    def teardown(self) -> None:
        """Close."""
        self.store.close()
        self.folder.cleanup()


TestStoreAgainstDictionary = StoreAgainstDictionary.TestCase
TestStoreAgainstDictionary.settings = settings(
    max_examples=40, stateful_step_count=15, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
