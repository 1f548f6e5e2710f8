"""Do processes and clusters give what this process gives?"""

from __future__ import annotations

import warnings
from fractions import Fraction

import numpy as np
import pytest

from demo_replay.tuning.band_sweep import BandGrid
from demo_replay.tuning.fleet import Unit, by_cluster, by_processes, here
from demo_replay.tuning.scores import Scores
from demo_replay.tuning.units import BandPart, Case, EnginePart, Part
from rules.errors import SettingError
from tests.demo_replay.tuning.tried import case, past, plan
from tests.replays import MINUTE, rule


def work() -> tuple[list[Case], list[Unit]]:
    """Two recordings, and the settings of a band and of a rate in pieces."""
    cases = [
        case(plan(), past({"tank.temperature": np.random.default_rng(seed).integers(0, 50, 500).tolist()}))
        for seed in (1, 2)
    ]
    band = BandPart(
        "tank.temperature", False, BandGrid([Fraction(n) for n in range(9)], [Fraction(1)], [0, MINUTE], [0])
    )
    rates = EnginePart(
        tuple(rule("rate", "rising", point="tank.temperature", rise=f"{n} K/h") for n in range(1, 5)), "rise"
    )
    parts: list[Part] = []
    parts += band.split(3)
    parts += rates.split(2)
    return cases, [(number, part) for number in range(2) for part in parts]


def same(one: list[Scores], other: list[Scores]) -> bool:
    return (
        len(one) == len(other)
        and [s.span for s in one] == [s.span for s in other]
        and all(
            np.array_equal(np.asarray(a), np.asarray(b))
            for left, right in zip(one, other, strict=True)
            for a, b in zip(left[:-1], right[:-1], strict=True)
        )
    )


def test_processes_give_the_same_scores_in_the_same_order() -> None:
    """Two of them, and every setting is counted as done once."""
    cases, units = work()
    done: list[int] = []
    expected = here(cases, units, lambda count: None)
    assert same(by_processes(cases, units, done.append, workers=2), expected)
    assert sum(done) == sum(part.size for _, part in units)


def test_a_cluster_gives_the_same_scores() -> None:
    """A scheduler and two workers on loopback."""
    distributed = pytest.importorskip("distributed", reason="needs Dask: pip install distributed")
    cases, units = work()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what the cluster's own libraries warn of is not ours
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None
        ) as cluster:
            found = by_cluster(cases, units, lambda count: None, address=cluster.scheduler_address)
    assert same(found, here(cases, units, lambda count: None))


def test_without_dask_it_is_said_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Named, with what to install."""
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)
    with pytest.raises(SettingError, match="pip install distributed"):
        by_cluster([], [], lambda count: None, address="tcp://127.0.0.1:1")
