"""Do the extremes of stretches say of points that are compared just what every instant says?"""

from __future__ import annotations

from unittest.mock import patch

from hypothesis import example, given, settings
from hypothesis import strategies as st

from rules import apart
from rules.apart import Farther, Scale
from rules.edges import FALSE, UNKNOWN, listed
from rules.zones import MANY
from tests.rules.long_series import series


@settings(deadline=None, max_examples=300)
@example(673, [(False, 0, 5500)], 21, 4)
@given(
    st.integers(0, 2**32),
    st.lists(st.tuples(st.booleans(), st.integers(-40, 40), st.sampled_from([5500, 100, 0])), min_size=1, max_size=2),
    st.integers(0, 40),
    st.sampled_from([4, 64]),
)
def test_stretches_find_the_edges_that_every_instant_finds(
    seed: int, others: list[tuple[bool, int, int]], limit: int, width: int
) -> None:
    """The same edges of both directions, however unevenly and however often the points speak."""
    spans, scales = [series(seed)], [Scale(2, 0)]
    told = (Farther(limit, False), Farther(limit + 3, True))
    for alike, offset, readings in others:
        span = series(seed if alike else seed + 1)
        span.t, span.own, span.v = span.t[:readings], span.own[:readings], span.v[:readings]
        span.f, span.restarts = span.f[:readings], span.restarts[span.restarts < readings]
        span.stale = [key for key in span.stale if not readings or key <= 2 * int(span.t[-1])]
        spans.append(span)
        scales.append(Scale(2 - alike, offset))
    assert len(spans[0].t) >= MANY
    with patch.object(apart, "WIDE", width):
        fast = apart.apart(spans, scales, told, (FALSE, UNKNOWN))
    with patch.object(apart, "MANY", 1 << 40):
        slow = apart.apart(spans, scales, told, (FALSE, UNKNOWN))
    assert [listed(edges) for edges in fast] == [listed(edges) for edges in slow]
