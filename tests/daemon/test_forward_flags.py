"""Does the remote store end with the flag with which each reading ended, whenever that became known?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.store.cursor import Debt
from rules.block import Block, block
from rules.durations import DAY
from rules.quality.quality import Finals
from tests.daemon.remote_site import MIDNIGHT, WATER, Site


def judged(time: int, flag: int) -> list[Block]:
    """What rules judged a reading of the water by."""
    return [block(WATER.id, [time], [0], [flag])]


def final(time: int, flag: int) -> list[tuple[str, Finals]]:
    """What a reading of the water ended with."""
    return [(WATER.id, Finals(np.array([time], np.int64), np.array([flag], np.uint8)))]


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """Three readings of the water at MIDNIGHT, a millisecond apart, not yet forwarded."""
    made = Site(tmp_path / "store.sqlite")
    made.forwarder.step()
    made.store.commit([block(WATER.id, [MIDNIGHT, MIDNIGHT + 1, MIDNIGHT + 2], [1, 2, 3])])
    yield made
    made.close()


def held(site: Site) -> list[int]:
    """The flags of the water's readings at the server, by time."""
    return [flag for (point, _), flag in sorted(site.server.holds.items()) if point == WATER.id]


def test_a_verdict_that_was_known_goes_with_its_reading(site: Site) -> None:
    """And nothing goes twice."""
    site.store.commit(judged=judged(MIDNIGHT, 1), finals=final(MIDNIGHT + 1, 4))
    site.step_on()
    assert held(site) == [1, 4, 2]
    assert sum(site.server.got.values()) == 3


def test_a_reading_goes_once_more_when_its_flag_changes(site: Site) -> None:
    """A spike is known as one only when the next reading has come; the others do not go again."""
    site.step_on()
    site.store.commit(judged=judged(MIDNIGHT + 1, 1))
    site.store.commit(finals=final(MIDNIGHT + 1, 4))
    assert site.store.debt() == Debt(1, 0)
    site.step_on()
    assert held(site) == [2, 4, 2]
    assert sum(site.server.got.values()) == 4
    assert site.store.debt() == Debt(0, 0)


def test_a_flag_that_changes_while_its_reading_is_on_its_way_is_owed(site: Site) -> None:
    """The batch went with the flag of before."""
    site.server.before_answer = lambda: site.store.commit(judged=judged(MIDNIGHT, 3))
    site.forwarder.step()
    site.server.before_answer = lambda: None
    assert held(site) == [2, 2, 2]
    site.step_on()
    assert held(site) == [3, 2, 2]


def test_a_flag_that_changes_while_it_is_on_its_way_itself_is_owed_again(site: Site) -> None:
    """What was sent is no longer what is known."""
    site.step_on()
    site.store.commit(judged=judged(MIDNIGHT, 3))
    site.server.before_answer = lambda: site.store.commit(finals=final(MIDNIGHT, 4))
    site.forwarder.step()
    site.server.before_answer = lambda: None
    assert held(site) == [3, 2, 2]
    site.step_on()
    assert held(site) == [4, 2, 2]
    assert site.store.debt() == Debt(0, 0)


def test_a_day_with_a_flag_that_is_owed_waits_to_be_sealed(site: Site) -> None:
    """Once the flag has gone it is sealed, and nothing goes again."""
    site.step_on()
    site.store.commit(judged=judged(MIDNIGHT, 3))
    assert site.seal(MIDNIGHT + 9 * DAY) == 0
    site.step_on()
    assert site.seal(MIDNIGHT + 10 * DAY) == 1
    site.step_on()
    assert held(site) == [3, 2, 2]
    assert sum(site.server.got.values()) == 4


def test_a_day_sealed_before_its_last_verdict_goes_again(site: Site) -> None:
    """As of a point that is heard every few hours."""
    site.step_on()
    assert site.seal(MIDNIGHT + 9 * DAY) == 1
    site.store.commit(judged=judged(MIDNIGHT + 2, 4))
    assert site.store.debt() == Debt(0, 1)
    site.step_on()
    assert held(site) == [2, 2, 4]


def test_a_site_without_a_remote_store_owes_no_flags(site: Site) -> None:
    """Neither of rows nor of sealed days; when it takes one up, everything goes as it is by then."""
    site.step_on()
    site.store.commit(judged=judged(MIDNIGHT, 3))
    site.forwarder.close()
    site.store.end_forwarding()
    site.store.commit(judged=judged(MIDNIGHT + 1, 3))
    assert site.store.debt() == Debt(0, 0)
    assert site.seal(MIDNIGHT + 9 * DAY) == 1
    site.store.commit(judged=judged(MIDNIGHT + 2, 4))
    site.new_forwarder()
    site.step_on()
    assert held(site) == [3, 3, 4]


steps = st.lists(
    st.one_of(
        st.tuples(st.just("judged"), st.integers(0, 2), st.sampled_from([1, 3, 4])),
        st.tuples(st.just("final"), st.integers(0, 2), st.sampled_from([1, 3, 4])),
        st.tuples(st.sampled_from(["forward", "down", "up", "restart", "seal"]), st.just(0), st.just(0)),
    ),
    max_size=20,
)


@settings(max_examples=100, deadline=None)
@given(steps)
def test_whatever_happens_the_server_ends_with_the_last_flags(
    tmp_path_factory: pytest.TempPathFactory, done: list[tuple[str, int, int]]
) -> None:
    """Verdicts, outages, restarts and sealing in any order; then the link is up and all is said."""
    with closing(Site(tmp_path_factory.mktemp("flags") / "store.sqlite")) as site:
        ended = after(site, done)
        assert held(site) == ended


def after(site: Site, done: list[tuple[str, int, int]]) -> list[int]:
    """The flags with which the readings ended in the store, once all that is owed has gone."""
    site.store.commit([block(WATER.id, [MIDNIGHT, MIDNIGHT + 1, MIDNIGHT + 2], [1, 2, 3])])
    now = MIDNIGHT + 3 * DAY
    for what, which, flag in done:
        if what == "judged":
            site.store.commit(judged=judged(MIDNIGHT + which, flag))
        elif what == "final":
            site.store.commit(finals=final(MIDNIGHT + which, flag))
        elif what == "forward":
            site.forwarder.step()
        elif what in ("down", "up"):
            site.server.down = what == "down"
        elif what == "restart":
            site.forwarder.close()
            site.new_forwarder()
        else:
            now += DAY
            site.seal(now)
    site.server.down = False
    for _ in range(4):
        site.step_on()
    return [int(flag) for part in site.store.read_final(WATER.id, 0, 2**62) for flag in part.flags]
