"""What would the rules have said to a recording? The same engine as the daemon's, fed from the past."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from demo_replay.doubted import Doubted
from demo_replay.service import InService, in_service
from rules.acts import Act
from rules.block import Block, Source, concatenate
from rules.durations import DAY, HOUR
from rules.engine import Engine
from rules.errors import TidebedError
from rules.events import Event, show_time
from rules.flags import Flag
from rules.plan import Plan
from rules.quality.quality import NO_FINALS, Finals

Progress = Callable[[int, int], None]
"""Called with (ms of the recording that are done, ms in all)."""

_STEPS = 50
"""How many steps a replay is cut into, so that its progress shows. The cuts never matter to the events."""


class NothingToReplay(TidebedError):
    """A recording holds nothing that the plan could judge, or nothing in the span that is asked for."""


@dataclass(frozen=True, slots=True)
class Replayed:
    """What a replay found. Times in ms UTC.

    events: with shown[0] <= t <= shown[1], in order; warm_up: those before; recorded: first and last instant that was
    judged; shown: the part that was asked for; readings: how many were judged; service: what the recording lacks;
    alarms: those that are not normal at the end, as Engine.alarms() tells them; derived: what the derived points read
    (usable readings alone); doubted: by point the readings that the quality tests called suspect or failed in the end.
    """

    plan: Plan
    events: list[Event]
    warm_up: list[Event]
    recorded: tuple[int, int]
    shown: tuple[int, int]
    readings: int
    service: InService
    alarms: list[dict[str, Any]]
    derived: dict[str, Block]
    doubted: dict[str, Finals] = field(default_factory=dict)


class WithDerived:
    """A Source of what was recorded, with the flags that it ended with, and of what was worked out from it."""

    def __init__(self, source: Source, derived: Mapping[str, Block], doubted: Mapping[str, Finals]) -> None:
        self._source, self._derived, self._doubted = source, derived, doubted

    def points(self) -> list[str]:
        """The points that have readings here."""
        return list(dict.fromkeys([*self._source.points(), *(n for n, part in self._derived.items() if len(part))]))

    def span(self) -> tuple[int, int] | None:
        """First and last recorded time in ms UTC; nothing is worked out outside it."""
        return self._source.span()

    def read(self, point: str, after: int, upto: int) -> Iterator[Block]:
        """Blocks of `point` with after < time <= upto, in order of time."""
        part = self._derived.get(point)
        if part is not None:
            yield part.between(after, upto)
            return
        times, flags = self._doubted.get(point, NO_FINALS)
        for part in self._source.read(point, after, upto):
            lo, hi = np.searchsorted(times, [after, upto], side="right")
            at = np.searchsorted(part.times, times[lo:hi])
            here = np.flatnonzero(at < len(part))
            here = here[part.times[at[here]] == times[lo:hi][here]]
            if len(here):
                ended = part.flags.copy()
                ended[at[here]] = flags[lo:hi][here]
                part = Block(point, part.times, part.values, ended, part.ordered)
            yield part


def replay(
    plan: Plan,
    source: Source,
    *,
    acts: Sequence[Act] = (),
    span: tuple[int, int] | None = None,
    watched: Collection[str] | None = None,
    warm_from: int | None = None,
    from_: int | None = None,
    to: int | None = None,
    progress: Progress | None = None,
) -> Replayed:
    """Judge `source` by `plan`.

    acts: what people did and when the daemon did not run, honoured as in the log. span: first and last instant (ms UTC)
    of what was watched, where more is known than the first and last reading, as of the daemon's own store. watched: the
    points in service, heard or not (default: those with a reading); the rest are out of service. warm_from: readings
    before it are left out (default: none); acts before it count only while they last. from_, to: only events with
    from_ <= t <= to are shown; what is earlier is judged as warm-up, what is later is not judged.

    Raises NothingToReplay where no point of the plan is in service, or none of it lies in the span asked for.
    """
    present = [point.id for point in plan.points if point.id in set(source.points())]
    found = span or source.span()
    served = present if watched is None else [point.id for point in plan.points if point.id in watched]
    if found is None or not served:
        known = ", ".join(source.points()[:8]) or "nothing at all"
        raise NothingToReplay(
            f"no point of {plan.name or 'the plan'} has a reading in the recording, which holds {known}; "
            "name its points as the site file does"
        )
    start = found[0] if warm_from is None else max(found[0], warm_from)
    end = found[1] if to is None else min(found[1], to)
    if from_ is not None and to is not None and from_ > to:
        raise NothingToReplay(f"the span asked for begins at {show_time(from_)} and ends before that; swap its ends")
    shown = (start if from_ is None else max(start, from_), end)
    if shown[0] > end or start > end:
        raise NothingToReplay(
            f"the recording lasts from {show_time(found[0])} to {show_time(found[1])}; nothing of it lies in the span "
            "that is asked for, so choose another --from or --to"
        )
    service = in_service(plan, served)
    engine = Engine(service.plan, start)
    events: list[Event] = []
    readings = 0
    due: list[Act] = [act for act in acts if act.time >= start or (act.until or 0) > start]
    length = min(max((end - start) // _STEPS + 1, 6 * HOUR), 7 * DAY)
    worked_out: dict[str, list[Block]] = {settings.id: [] for settings in plan.derived}
    doubted = Doubted()
    after = start - 1
    while after < end:
        upto = min(after + length, end)
        blocks: list[Block] = [block for name in present for block in source.read(name, after, upto)]
        readings += sum(len(block) for block in blocks)
        events += engine.step(blocks, due, upto + plan.settle)
        due = []
        doubted.hear(engine.judged)
        for name, parts in worked_out.items():
            track = engine.tracks[name].span
            if track is not None:
                parts.append(Block(name, track.t, track.v, np.full(len(track.t), Flag.NOT_EVALUATED, np.uint8)))
        after = upto
        if progress is not None:
            progress(after - start + 1, end - start + 1)
    before = sum(event.t < shown[0] for event in events)
    derived = {name: concatenate(name, parts) for name, parts in worked_out.items()}
    return Replayed(
        plan,
        events[before:],
        events[:before],
        (start, end),
        shown,
        readings,
        service,
        engine.alarms(),
        derived,
        doubted.found(),
    )
