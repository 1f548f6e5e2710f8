"""Is what the quality tests said of a reading kept beside it: when rules judged it, and in the end?"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from daemon.store import Store, StoreReader
from daemon.store.schema import APPLICATION, MIGRATIONS
from daemon.store.sealing import SEAL_AFTER
from rules.block import Block, block
from rules.durations import DAY, MINUTE
from rules.quality.quality import Finals

from .conftest import WATER
from .test_columns import OF_THE_FIRST_FORMAT

MIDNIGHT = 20_547 * DAY
"""2026-04-04 00:00 UTC."""


def judged(times: list[int], flags: list[int]) -> Block:
    """What rules judged some readings of the water by."""
    return block(WATER.id, times, [0] * len(times), flags)


def final(time: int, flag: int) -> tuple[str, Finals]:
    """What a reading of the water ended with."""
    return WATER.id, Finals(np.array([time], np.int64), np.array([flag], np.uint8))


def flags(store: StoreReader) -> tuple[list[int], list[int]]:
    """The flags with which the water's readings came, and those with which they ended."""
    came = [int(flag) for part in store.read(WATER.id, 0, 2**62) for flag in part.flags]
    return came, [int(flag) for part in store.read_final(WATER.id, 0, 2**62) for flag in part.flags]


def test_what_was_said_in_the_same_commit_is_kept(store: Store) -> None:
    """The flag with which a reading came stays what a replay reads."""
    store.commit([block(WATER.id, [1, 2, 3], [1, 2, None], [2, 3, 9])], judged=[judged([1, 2, 3], [1, 4, 9])])
    assert flags(store) == ([2, 3, 9], [1, 4, 9])


def test_what_is_said_of_an_earlier_commit_is_kept(store: Store) -> None:
    """Most readings are judged a second after they were stored."""
    store.commit([block(WATER.id, [1, 2], [1, 2])])
    store.commit([block(WATER.id, [3], [1])], judged=[judged([1, 2], [1, 1]), judged([3], [1])])
    assert flags(store) == ([2, 2, 2], [1, 1, 1])


def test_a_final_flag_outweighs_the_judged_one(store: Store) -> None:
    """A spike is known as one only when the next reading comes."""
    store.commit([block(WATER.id, [1], [1])], judged=[judged([1], [1])])
    store.commit([block(WATER.id, [2], [9])], judged=[judged([2], [1])])
    store.commit([block(WATER.id, [3], [1])], judged=[judged([3], [1])], finals=[final(2, 4)])
    assert flags(store) == ([2, 2, 2], [1, 4, 1])


def test_the_first_judgement_stays(store: Store) -> None:
    """Rules used it then, whatever a later one says; only the final flag may differ."""
    store.commit([block(WATER.id, [1], [1])], judged=[judged([1], [3])])
    store.commit(judged=[judged([1], [1])])
    assert flags(store) == ([2], [3])


def test_nothing_is_kept_of_readings_that_are_not_there(store: Store) -> None:
    """A verdict makes no reading."""
    store.commit([block(WATER.id, [1], [1])], judged=[judged([7], [4])], finals=[final(8, 4)])
    assert flags(store) == ([2], [2])


def test_what_was_said_is_sealed_with_its_day(store: Store) -> None:
    """A block holds it as the rows did."""
    store.commit(
        [block(WATER.id, [MIDNIGHT - 3, MIDNIGHT - 2, MIDNIGHT - 1], [1, 9, 1])],
        judged=[judged([MIDNIGHT - 3, MIDNIGHT - 2], [1, 1])],
        finals=[final(MIDNIGHT - 2, 4)],
    )
    assert store.seal_step(MIDNIGHT + SEAL_AFTER) is not None
    assert flags(store) == ([2, 2, 2], [1, 4, 2])


def test_a_verdict_may_come_after_its_day_was_sealed(store: Store) -> None:
    """As of a point that is heard every few hours; neighbours in the block keep theirs."""
    store.commit([block(WATER.id, [MIDNIGHT - 2, MIDNIGHT - 1], [1, 9])], judged=[judged([MIDNIGHT - 2], [1])])
    assert store.seal_step(MIDNIGHT + SEAL_AFTER) is not None
    store.commit(judged=[judged([MIDNIGHT - 1], [1])])
    assert flags(store) == ([2, 2], [1, 1])
    store.commit([block(WATER.id, [MIDNIGHT + DAY // 2], [1])], finals=[final(MIDNIGHT - 1, 4)])
    store.commit(judged=[judged([MIDNIGHT - 1], [3])])
    assert flags(store) == ([2, 2, 2], [1, 4, 2])


@pytest.mark.parametrize("migrations", [1, 2, 3])
def test_a_store_of_an_earlier_version_goes_on(path: Path, open_store: Callable[..., Store], migrations: int) -> None:
    """Its rows and its sealed days are read as they came, and new verdicts are kept beside them."""
    old = sqlite3.connect(path, isolation_level=None)
    old.execute(f"PRAGMA application_id = {APPLICATION}")
    old.execute("CREATE TABLE migration (version INTEGER PRIMARY KEY, name TEXT NOT NULL)")
    for migration in MIGRATIONS[:migrations]:
        for statement in migration.statements:
            old.execute(statement)
        old.execute("INSERT INTO migration (name) VALUES (?)", (migration.name,))
    old.execute("INSERT INTO point (name, quantity) VALUES (?, ?)", (WATER.id, WATER.quantity))
    old.execute("INSERT INTO series (point, unit, resolution) VALUES (1, 'degC', '1/1000')")
    ends = (MIDNIGHT - DAY, MIDNIGHT - DAY + 2 * MINUTE)
    old.execute(
        "INSERT INTO block (point, day, series, readings, first, last, columns) VALUES (1, 20546, 1, 3, ?, ?, ?)",
        (*ends, OF_THE_FIRST_FORMAT),
    )
    old.execute("INSERT INTO reading (point, time, series, value, flag) VALUES (1, ?, 1, 7, 2)", (MIDNIGHT,))
    old.close()
    store = open_store()
    assert flags(store) == ([2, 2, 2, 2], [2, 2, 2, 2])
    store.commit([block(WATER.id, [MIDNIGHT + 1], [8])], judged=[judged([MIDNIGHT, MIDNIGHT + 1], [1, 3])])
    assert flags(store) == ([2] * 5, [2, 2, 2, 1, 3])
    assert store.seal_step(MIDNIGHT + DAY + SEAL_AFTER) is not None
    assert flags(store) == ([2] * 5, [2, 2, 2, 1, 3])
