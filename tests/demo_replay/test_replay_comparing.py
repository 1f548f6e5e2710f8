"""Are the alarms of two replays paired as the same trouble, and their differences named?"""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from demo_replay.comparing import Difference, compare
from demo_replay.episodes import Episode


def stood(onset: int, raised: int, ended: int | None, *, rule: str = "tank.warm", side: str = "high") -> Episode:
    """An alarm with these times in ms."""
    state = "unacknowledged" if ended is None else "returned"
    return Episode(rule, side, "high", onset, raised, ended, raised, state, 27.0, "degC", "")


def test_alarms_that_overlap_are_the_same_trouble() -> None:
    """Raised at another time, it came earlier or later, by so much."""
    (later,) = compare([stood(10, 20, 50)], [stood(10, 35, 50)])
    (earlier,) = compare([stood(10, 35, 50)], [stood(10, 20, 50)])
    (same,) = compare([stood(10, 20, 50)], [stood(12, 20, 50)])
    assert (later.difference, later.shift) == (Difference.LATER, 15)
    assert (earlier.difference, earlier.shift) == (Difference.EARLIER, -15)
    assert (same.difference, same.shift, same.other_end) == (Difference.SAME, 0, False)


def test_an_alarm_may_end_at_another_time_though_it_began_alike() -> None:
    """Then it is the same with another end; one without a partner has none."""
    assert [pair.other_end for pair in compare([stood(10, 20, 50)], [stood(12, 20, None)])] == [True]
    assert [pair.other_end for pair in compare([stood(10, 20, 50)], [])] == [False]


def test_alarms_that_do_not_touch_are_new_or_gone() -> None:
    """In the order in which they were raised."""
    pairs = compare([stood(10, 20, 30)], [stood(31, 40, 50)])
    assert [pair.difference for pair in pairs] == [Difference.GONE, Difference.NEW]
    assert [pair.shift for pair in pairs] == [0, 0]


def test_alarms_that_touch_are_paired() -> None:
    """The end of one at the onset of the other is enough."""
    assert [pair.difference for pair in compare([stood(10, 20, 31)], [stood(31, 40, 50)])] == [Difference.LATER]


def test_another_rule_or_side_is_another_trouble() -> None:
    """Even at the same times."""
    by_rule = compare([stood(10, 20, 30)], [stood(10, 20, 30, rule="tank.hot")])
    by_side = compare([stood(10, 20, 30)], [stood(10, 20, 30, side="low")])
    assert {pair.difference for pair in (*by_rule, *by_side)} == {Difference.NEW, Difference.GONE}


def test_an_alarm_that_breaks_in_two_is_the_same_and_a_new_one() -> None:
    """A smaller deadband: the first part is paired, the second is new."""
    pairs = compare([stood(10, 20, 100)], [stood(10, 20, 40), stood(60, 70, 100)])
    assert [pair.difference for pair in pairs] == [Difference.SAME, Difference.NEW]


_SPANS = st.tuples(st.integers(0, 50), st.integers(0, 10), st.one_of(st.none(), st.integers(0, 30))).map(
    lambda t: stood(t[0], t[0] + t[1], None if t[2] is None else t[0] + t[1] + t[2])
)


@given(st.lists(_SPANS, max_size=6), st.lists(_SPANS, max_size=6))
def test_every_alarm_of_both_replays_is_in_one_pair(before: list[Episode], after: list[Episode]) -> None:
    """None is lost and none is there twice."""
    pairs = compare(before, after)
    assert sorted(id(pair.before) for pair in pairs if pair.before) == sorted(map(id, before))
    assert sorted(id(pair.after) for pair in pairs if pair.after) == sorted(map(id, after))


@given(st.lists(_SPANS, max_size=6))
def test_a_replay_compared_with_itself_differs_in_nothing(found: list[Episode]) -> None:
    """Alarms of one side follow one another, as the engine makes them."""
    apart: list[Episode] = []
    for one in sorted(found, key=lambda one: one.onset):
        if not apart or (apart[-1].ended is not None and apart[-1].ended < one.onset):
            apart.append(one)
    assert {pair.difference for pair in compare(apart, list(apart))} <= {Difference.SAME}
