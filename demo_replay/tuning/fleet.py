"""Who does the pieces of a sweep: this process, others of this computer, or a Dask cluster? The results are equal."""

from __future__ import annotations

import importlib
import multiprocessing
import re
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from demo_replay.tuning.scores import Scores
from demo_replay.tuning.units import Case, Done, Part
from rules.errors import SettingError, TidebedError

Unit = tuple[int, Part]
"""(number of a case, settings to score on it)."""
Run = Callable[[Sequence[Case], Sequence[Unit], Done], list[Scores]]
"""Gives the scores of each unit, in their order."""

CONNECT_SECONDS = 10
_ADDRESS = re.compile(r"(tcp|tls)://\S+:\d{1,5}")


class WorkersLost(TidebedError):
    """A process or machine that did a part of the work is gone."""


def here(cases: Sequence[Case], units: Sequence[Unit], done: Done) -> list[Scores]:
    """The scores of each unit, one after the other in this process."""
    return [part.scores(cases[number], done) for number, part in units]


def by_processes(cases: Sequence[Case], units: Sequence[Unit], done: Done, workers: int) -> list[Scores]:
    """The same by so many processes of this computer. Raises WorkersLost where one dies."""
    # Forked from a clean server: this process may have threads.
    context = multiprocessing.get_context("forkserver")
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_hold, initargs=(tuple(cases),)) as pool:
        waiting = {pool.submit(_held_scores, unit): index for index, unit in enumerate(units)}
        try:
            return _gathered(units, waiting, as_completed(waiting), done)
        except BrokenProcessPool as error:
            pool.shutdown(cancel_futures=True)
            raise WorkersLost("a worker process ended before its work; try fewer --workers") from error


def by_cluster(cases: Sequence[Case], units: Sequence[Unit], done: Done, address: str) -> list[Scores]:
    """The same by the workers of the Dask scheduler at `address`, which must have this version of Tidebed.

    Raises SettingError where Dask is missing, nobody answers, or the scheduler has no worker.
    """
    if not _ADDRESS.fullmatch(address):
        raise SettingError(f"--scheduler {address}: is no address; write it as in tcp://127.0.0.1:8786")
    try:
        distributed: Any = importlib.import_module("distributed")
    except ModuleNotFoundError as error:
        raise SettingError(
            "--scheduler needs Dask, which is not installed; pip install distributed, here and on every worker"
        ) from error
    try:
        client = distributed.Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError) as error:
        raise SettingError(
            f"--scheduler {address}: no Dask scheduler answers there; start one with `dask scheduler`, and name it as "
            "in tcp://127.0.0.1:8786"
        ) from error
    with client, client.as_current():
        if not client.scheduler_info()["workers"]:
            raise SettingError(f"--scheduler {address}: it has no worker; start some with `dask worker {address}`")
        held = [client.scatter(case, hash=False) for case in cases]
        waiting = {
            client.submit(_scores, held[number], part, pure=False): index for index, (number, part) in enumerate(units)
        }
        return _gathered(units, waiting, distributed.as_completed(list(waiting)), done)


def _gathered(units: Sequence[Unit], waiting: dict[Any, int], completed: Any, done: Done) -> list[Scores]:
    """The results in the order of the units."""
    found: dict[int, Scores] = {}
    for future in completed:
        index = waiting[future]
        found[index] = future.result()
        done(units[index][1].size)
    return [found[index] for index in range(len(units))]


_held: tuple[Case, ...] = ()
"""What a worker process has been given once, for all of its units."""


def _hold(cases: tuple[Case, ...]) -> None:
    global _held
    _held = cases


def _held_scores(unit: Unit) -> Scores:
    number, part = unit
    return _scores(_held[number], part)


def _scores(case: Case, part: Part) -> Scores:
    return part.scores(case, lambda count: None)
