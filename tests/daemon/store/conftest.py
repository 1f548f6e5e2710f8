"""Which store do these tests share? One with two points, at a path of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import pytest

from daemon.store import Store
from rules.plan import PointPlan

WATER = PointPlan("tank.temperature", "water_temperature", "degC", Fraction(1, 1000))
LEVEL = PointPlan("bed2.level", "level", "mm", Fraction(1, 10))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the store is."""
    return tmp_path / "store.sqlite"


@pytest.fixture
def open_store(path: Path) -> Iterator[Callable[..., Store]]:
    """Opens the store, closing the one opened before; the last is closed after the test."""
    opened: list[Store] = []

    def reopen(*points: PointPlan) -> Store:
        while opened:
            opened.pop().close()
        opened.append(Store(path, points or (WATER, LEVEL)))
        return opened[-1]

    yield reopen
    for store in opened:
        store.close()


@pytest.fixture
def store(open_store: Callable[..., Store]) -> Store:
    """An empty store with two points."""
    return open_store()
