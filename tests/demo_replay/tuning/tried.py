"""Which rules, recordings and spells do tests of tuning use, and what does the whole engine say about a setting?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

import numpy as np
from hypothesis import strategies as st

from adapters.recordings import Recording
from demo_replay.tuning.engine_sweep import Past
from demo_replay.tuning.heard import heard
from demo_replay.tuning.scores import Measure
from demo_replay.tuning.spells import OPEN, Spells
from demo_replay.tuning.units import Case
from rules.acts import Act
from rules.block import Block, block
from rules.engine import Engine
from rules.plan import Plan, PointPlan
from rules.settings import RuleSettings
from tests.replays import HOUR, MINUTE, START

HOLD = 5 * MINUTE
POINTS = (
    PointPlan("tank.temperature", "water_temperature", "degC", Fraction(1, 10), MINUTE, HOLD),
    PointPlan("loop.flow", "flow", "L/min", Fraction(1, 10), MINUTE, HOLD),
    PointPlan("bed.level", "level", "cm", Fraction(1, 10), MINUTE, HOLD),
)
Spell = tuple[int, int, int, int]
"""Setting, since, raised, returned."""


def plan(*rules: RuleSettings, points: Sequence[PointPlan] = POINTS) -> Plan:
    """A plan of these rules."""
    return Plan("Alder Lane", "Europe/Dublin", tuple(points), rules)


def past(values: Mapping[str, Sequence[int | None]], every: int = MINUTE, acts: Sequence[Act] = ()) -> Past:
    """Counts of each point, one `every` ms from START on; None is a missing reading."""
    return held(
        {
            point: block(point, range(START, START + every * len(listed), every), listed)
            for point, listed in values.items()
        },
        acts,
    )


def held(blocks: Mapping[str, Block], acts: Sequence[Act] = ()) -> Past:
    """The past that these blocks make."""
    recording = Recording(dict(blocks))
    span = recording.span()
    assert span is not None
    return Past(recording, span, tuple(acts))


def case(of: Plan, was: Past, measure: Measure | None = None) -> Case:
    """A case in which every point is heard."""
    plain, usable = heard(of, {point.id for point in (*of.points, *of.derived)}, was)
    return Case("recording", plain, usable, measure or Measure((), HOUR, *was.span))


def listed(spells: Spells) -> list[Spell]:
    """One tuple a spell."""
    return list(zip(*(column.tolist() for column in spells), strict=True))


def spells(*rows: tuple[int, int, int] | Spell) -> Spells:
    """(setting, raised, returned) or (setting, since, raised, returned), in minutes since START; None is OPEN."""
    full = [(row[0], row[1], *row[1:]) if len(row) == 3 else row for row in rows]
    columns = np.array(full, np.int64).reshape(-1, 4).T
    times = [np.where(column >= OPEN // MINUTE, OPEN, START + MINUTE * column) for column in columns[1:]]
    return Spells(columns[0], *times)


NEVER = OPEN // MINUTE
"""In `spells`: the alarm did not return."""


def engine_says(of: Plan, rule: RuleSettings, side: str, was: Past) -> list[tuple[int, int, int]]:
    """(since, raised, returned) of each alarm of a rule, from the events of an engine that judges the whole past."""
    engine = Engine(of, was.span[0])
    blocks = [part for point in was.source.points() for part in was.source.read(point, was.span[0] - 1, was.span[1])]
    events = engine.step(blocks, was.acts, was.span[1] + of.settle)
    found: list[list[int]] = []
    for event in events:
        if event.type == "alarm" and (event.body["rule"], event.body["side"]) == (rule.id, side):
            if event.body["state"] == "unacknowledged":
                found.append([event.body["since"], event.t, OPEN])
            else:
                found[-1][2] = event.t
    return [(since, raised, returned) for since, raised, returned in found]


@st.composite
def uneven(draw: st.DrawFn, point: str = "tank.temperature", most: int = 60) -> Block:
    """Readings of a point with gaps below, at and above its hold; some missing or of bad quality."""
    steps = st.sampled_from((1, 1000, MINUTE - 1, MINUTE, MINUTE, MINUTE, 2 * MINUTE, HOLD - 1, HOLD, HOLD + 1, HOUR))
    # Left to itself, hypothesis draws mostly short lists, in which little happens.
    least = draw(st.sampled_from((1, most // 4, most // 2)))
    one = st.tuples(steps, st.integers(0, 12), st.sampled_from((1, 2, 2, 2, 2, 3, 4)))
    readings = draw(st.lists(one, min_size=max(least, 1), max_size=most))
    times = START + np.cumsum([step for step, _, _ in readings]) - readings[0][0]
    return Block(
        point,
        times.astype(np.int64),
        np.array([value for _, value, _ in readings], np.int64),
        np.array([flag for _, _, flag in readings], np.uint8),
    )
