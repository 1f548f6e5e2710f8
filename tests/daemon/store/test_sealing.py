"""Does sealing move days into blocks without losing, doubling or hurrying anything?"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from daemon.store import Store
from daemon.store.connection import Connection
from daemon.store.sealing import SEAL_AFTER, SealedDay
from rules.block import block
from rules.durations import DAY, HOUR, MINUTE

from .conftest import LEVEL, WATER

MIDNIGHT = 20_547 * DAY
"""2026-04-04 00:00 UTC."""


def everything(store: Store, point: str = WATER.id) -> list[tuple[int, int]]:
    """(time, counts) of all readings of a point."""
    parts = store.read(point, -(2**62), 2**62)
    return [pair for part in parts for pair in zip(part.times.tolist(), part.values.tolist(), strict=True)]


def rows(store: Store) -> int:
    """How many readings are still rows."""
    connection = Connection(store.path, read_only=True)
    count = connection.value("SELECT count(*) FROM reading")
    connection.close()
    return int(count)


def seal_all(store: Store, now: int) -> list[SealedDay]:
    """Every step there is to do at `now`."""
    done = []
    while (step := store.seal_step(now)) is not None:
        done.append(step)
    return done


@pytest.mark.parametrize(("after_midnight", "steps"), [(SEAL_AFTER - 1, 0), (SEAL_AFTER, 1), (SEAL_AFTER + 1, 1)])
def test_a_day_is_sealed_once_it_is_over_for_two_hours(store: Store, after_midnight: int, steps: int) -> None:
    """Below, at and above the moment."""
    store.commit([block(WATER.id, [MIDNIGHT - 1], [1])])
    assert len(seal_all(store, MIDNIGHT + after_midnight)) == steps
    assert rows(store) == 1 - steps


def test_each_step_seals_one_day_of_one_point(store: Store) -> None:
    """Oldest days first, and what is not over stays rows."""
    store.commit(
        [
            block(WATER.id, [MIDNIGHT - DAY - 1, MIDNIGHT - 1, MIDNIGHT], [1, 2, 3]),
            block(LEVEL.id, [MIDNIGHT - DAY - 1], [4]),
        ]
    )
    done = seal_all(store, MIDNIGHT + SEAL_AFTER)
    assert [(d.point, d.day, d.readings) for d in done] == [(1, 20_545, 1), (2, 20_545, 1), (1, 20_546, 1)]
    assert rows(store) == 1
    assert everything(store) == [(MIDNIGHT - DAY - 1, 1), (MIDNIGHT - 1, 2), (MIDNIGHT, 3)]


def test_a_late_reading_of_a_sealed_day_is_folded_in_the_next_day(store: Store) -> None:
    """Not at once, so that a backlog that trickles in does not rewrite the block for each reading."""
    store.commit([block(WATER.id, [MIDNIGHT - 10, MIDNIGHT - 1], [1, 3])])
    seal_all(store, MIDNIGHT + SEAL_AFTER)
    store.commit([block(WATER.id, [MIDNIGHT - 5], [2])])
    assert seal_all(store, MIDNIGHT + SEAL_AFTER + HOUR) == []
    assert everything(store) == [(MIDNIGHT - 10, 1), (MIDNIGHT - 5, 2), (MIDNIGHT - 1, 3)]
    (done,) = seal_all(store, MIDNIGHT + SEAL_AFTER + DAY)
    assert done.readings == 3
    assert rows(store) == 0
    assert everything(store) == [(MIDNIGHT - 10, 1), (MIDNIGHT - 5, 2), (MIDNIGHT - 1, 3)]


def test_a_day_in_two_resolutions_is_sealed_as_two_series(open_store: Callable[..., Store]) -> None:
    """And reads as one stretch."""
    coarse = type(WATER)(WATER.id, WATER.quantity, "degC", WATER.resolution * 100)
    store = open_store(coarse)
    store.commit([block(WATER.id, [MIDNIGHT - 30, MIDNIGHT - 10], [250, 251])])
    store = open_store(WATER)
    store.commit([block(WATER.id, [MIDNIGHT - 20], [25_055])])
    seal_all(store, MIDNIGHT + SEAL_AFTER)
    assert rows(store) == 0
    assert everything(store) == [(MIDNIGHT - 30, 25_000), (MIDNIGHT - 20, 25_055), (MIDNIGHT - 10, 25_100)]


def test_sealed_days_shrink_the_store(store: Store) -> None:
    """A day of readings a minute takes less than a tenth of its rows, and the room is used again."""
    for day in range(20):
        start = MIDNIGHT + day * DAY
        store.commit([block(WATER.id, range(start, start + DAY, MINUTE), range(1440))])
        seal_all(store, start + DAY + SEAL_AFTER)
    connection = Connection(store.path, read_only=True)
    pages, free = connection.value("PRAGMA page_count"), connection.value("PRAGMA freelist_count")
    size = connection.value("PRAGMA page_size")
    connection.close()
    assert (pages - free) * size / (20 * 1440) < 10, "bytes a reading"
    assert pages * size < 600_000
    assert len(everything(store)) == 20 * 1440
