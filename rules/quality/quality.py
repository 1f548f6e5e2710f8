"""Which flag does each reading of one point get, and which flag did an earlier one end with?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from rules.block import Block, Flags, Times
from rules.flags import Flag
from rules.local_time import Zone
from rules.quality.gap import Gap
from rules.quality.neighbour import Neighbour, Usable
from rules.quality.registry import NAMES, TESTS
from rules.quality.settings import QualitySettings, QualityTest
from rules.quality.spike import Spike
from rules.quality.stretch import Stretch, stretch_of
from rules.quality.verdicts import ALL_UNTRIED, DOUBTED, FAILS, MISSING, UNTRIED, Verdicts, flags_of

if TYPE_CHECKING:
    from rules.plan import PointPlan

_NONE = np.empty(0, np.int64)


class Finals(NamedTuple):
    """Readings whose final flag is another than the one with which they were judged: int64[n] ms UTC, uint8[n]."""

    times: Times
    flags: Flags

    def __len__(self) -> int:
        return len(self.times)

    def listed(self) -> list[tuple[int, int]]:
        """(time, flag) of each."""
        return list(zip(self.times.tolist(), self.flags.tolist(), strict=True))


NO_FINALS = Finals(_NONE, np.empty(0, np.uint8))


def last_said(parts: Iterable[tuple[Times, Flags]]) -> Finals:
    """One or more lists of readings and their flags as one, in order of time; of what was said twice the last."""
    times, flags = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.argsort(times, kind="stable")
    times, flags = times[order], flags[order]
    last = np.append(times[1:] != times[:-1], True)[: len(times)]
    return Finals(times[last], flags[last])


class Quality:
    """The tests of one point, with what they carry from one step to the next.

    Readings must come in order of time. A reading is missing where it comes with flag 9; every other flag that it comes
    with is judged anew. What fails a test that says that there is no value at all (a probe's code, the gross range) is
    compared with nothing.
    """

    def __init__(self, settings: Sequence[QualitySettings], point: PointPlan, zone: Zone | None = None) -> None:
        """Raises SettingError, UnitError or ValueRefused for settings that do not fit the point."""
        zone = zone or Zone("UTC")
        self.point = point
        given = {NAMES[type(one)]: one for one in settings}
        self.settings = {name: given[name] for name in TESTS if name in given}
        self.tests: dict[str, QualityTest] = {name: one.build(point, zone) for name, one in self.settings.items()}
        self.neighbour = next((test for test in self.tests.values() if isinstance(test, Neighbour)), None)
        self._spike = next((test for test in self.tests.values() if isinstance(test, Spike)), None)
        self._gap = next((test for test in self.tests.values() if isinstance(test, Gap)), None)
        self._first = {name: test for name, test in self.tests.items() if test.excludes}
        apart = (self.neighbour, self._spike)
        self._then = {name: test for name, test in self.tests.items() if not test.excludes and test not in apart}
        self._before: tuple[int, int] | None = None
        """Time and counts of the last reading that others are compared with."""
        self._joined = False
        """Whether that was the very last reading."""
        self._pending = UNTRIED
        """The verdict on it, which the spike test may still change."""
        self._said: list[tuple[str, Stretch, Verdicts]] = []
        """What each test said of the newest stretch."""

    def judge(self, part: Block) -> tuple[Flags, Finals]:
        """(flags uint8[n] as known when judged, readings whose final flag became known and is another).

        part: readings in order of time, all newer than those before. The finals are of this part or of the reading
        before it.
        """
        return self.finish(self.begin(part), {})

    def begin(self, part: Block) -> Half:
        """All tests but those that wait for the neighbours or for the next reading."""
        self._said = []
        missing = None
        verdicts: Verdicts = ALL_UNTRIED
        if len(part) and int(part.flags.max()) == Flag.MISSING:
            missing = part.flags == Flag.MISSING
            verdicts = np.where(missing, MISSING, UNTRIED)
        stretch = stretch_of(part.times, part.values, missing, self._before, self._joined)
        if len(stretch):
            worst = self._worst(self._first, stretch)
            verdicts = _put(verdicts, stretch, worst)
            failed = worst == FAILS
            if failed.any():
                stretch = stretch.without(failed)
        if len(stretch):
            verdicts = _put(verdicts, stretch, self._worst(self._then, stretch))
        elif self._gap is not None and len(part):
            self._gap.judge(stretch)
        return Half(part, stretch, verdicts)

    def finish(self, half: Half, near: Mapping[str, Usable]) -> tuple[Flags, Finals]:
        """What `judge` gives, once what other points found usable is known too. near: by the points' names."""
        part, stretch, verdicts = half
        finals = NO_FINALS
        if self.neighbour is not None:
            self.neighbour.hear(near)
        if len(stretch):
            if self.neighbour is not None:
                verdicts = _put(verdicts, stretch, self._worst({"neighbour": self.neighbour}, stretch))
            if self._spike is not None:
                finals = self._final(self._spike, stretch, verdicts)
            self._before = int(stretch.t[-1]), int(stretch.v[-1])
            self._joined = stretch.places is None or int(stretch.places[-1]) == len(part) - 1
        elif len(part):
            self._joined = False
        flags = flags_of(verdicts)
        return (flags if flags.ndim else np.full(len(part), flags)), finals

    def _worst(self, tests: Mapping[str, QualityTest], stretch: Stretch) -> Verdicts:
        worst: Verdicts = ALL_UNTRIED
        for name, test in tests.items():
            verdicts = test.judge(stretch)
            self._said.append((name, stretch, verdicts))
            worst = np.maximum(worst, verdicts)
        return worst

    def blame(self, position: int) -> list[str]:
        """The tests that gave a reading of the newest part its flag, by its position."""
        found: dict[str, int] = {}
        for name, stretch, verdicts in self._said:
            place = position
            if stretch.places is not None:
                place = int(np.searchsorted(stretch.places, position))
                if place == len(stretch) or stretch.places[place] != position:
                    continue
            found[name] = int(verdicts[place] if verdicts.ndim else verdicts)
        return [name for name, verdict in found.items() if verdict == max(found.values())]

    def _final(self, spike: Spike, stretch: Stretch, verdicts: Verdicts) -> Finals:
        """What the spike test now says of the reading before each of the stretch, where it outweighs the rest."""
        found = spike.judge_before(stretch)
        own = verdicts if stretch.places is None or not verdicts.ndim else verdicts[stretch.places]
        pending, self._pending = self._pending, np.uint8(own[-1] if own.ndim else own)
        if not found.ndim and found <= min(pending, own.min()):
            return NO_FINALS
        earlier = np.full(len(stretch), pending)
        earlier[1:] = own[:-1] if own.ndim else own
        changed = np.flatnonzero(found > earlier)
        if not len(changed):
            return NO_FINALS
        times = np.append(np.int64(self._before[0] if self._before else 0), stretch.t[:-1])
        return Finals(times[changed], flags_of(np.broadcast_to(found, earlier.shape)[changed]))

    def state(self) -> dict[str, Any]:
        """What must survive a restart, as JSON."""
        return {
            "series": [self.point.unit, str(self.point.resolution)],
            "before": self._before,
            "joined": self._joined,
            "pending": int(self._pending),
            "tests": {name: [self.settings[name].fingerprint, test.state()] for name, test in self.tests.items()},
        }

    def load(self, state: Mapping[str, Any]) -> None:
        """Take up what `state` gave; a test with other settings begins anew, all do in another unit or resolution."""
        unit, resolution = state["series"]
        if unit != self.point.unit or Fraction(resolution) != self.point.resolution:
            return
        before = state["before"]
        self._before = None if before is None else (before[0], before[1])
        self._joined = state["joined"]
        self._pending = np.uint8(state["pending"])
        for name, test in self.tests.items():
            fingerprint, saved = state["tests"].get(name, (None, None))
            if fingerprint == self.settings[name].fingerprint:
                test.load(saved)


class Half(NamedTuple):
    """Readings judged by all tests but those that wait: all of them, those to compare, and the verdicts on all."""

    part: Block
    stretch: Stretch
    verdicts: Verdicts

    def usable(self) -> Usable:
        """What other points may be compared with."""
        times, values = self.part.times, self.part.values
        if not self.verdicts.ndim:
            return Usable(times, values) if self.verdicts < DOUBTED else Usable(times[:0], values[:0])
        fine = (self.verdicts < DOUBTED) & (self.verdicts > MISSING)
        return Usable(times[fine], values[fine])


def _put(verdicts: Verdicts, stretch: Stretch, new: Verdicts) -> Verdicts:
    """The worse of the verdicts on all readings and those on the stretch among them."""
    if stretch.places is None:
        worse: Verdicts = np.maximum(verdicts, new)
        return worse
    all_of_them = verdicts if verdicts.ndim else np.full(len(stretch.heard), verdicts)
    all_of_them[stretch.places] = np.maximum(all_of_them[stretch.places], new)
    return all_of_them
