"""Is a reading without a time of its own dated when it came?"""

from __future__ import annotations

import threading

from adapters.intake import Arrived, Delivery
from daemon.dating import DatedInlet
from daemon.queue import DeliveryQueue

START = 1_780_000_000_000


class Clock:
    """The time of these tests."""

    at = START

    def now(self) -> int:
        """As Clock."""
        return self.at


def times(queue: DeliveryQueue) -> list[int | None]:
    """Of all readings that wait for the loop."""
    return [reading.time for delivery in queue.take(0, 10_000) for reading in delivery.readings]


def test_it_is_dated_when_it_is_handed_over_and_not_when_it_is_taken() -> None:
    """The loop may come a second later."""
    clock, queue = Clock(), DeliveryQueue()
    inlet = DatedInlet(queue, clock)
    inlet.put(Delivery("mqtt", [Arrived("a", None, 1, 2)]))
    clock.at += 900
    assert times(queue) == [START]


def test_readings_of_one_instant_stay_apart_and_points_do_not_hinder_each_other() -> None:
    """Each takes the next free millisecond of its own point."""
    clock, queue = Clock(), DeliveryQueue()
    inlet = DatedInlet(queue, clock)
    inlet.put(Delivery("mqtt", [Arrived("a", None, 1, 2), Arrived("a", None, 2, 2), Arrived("b", None, 3, 2)]))
    inlet.put(Delivery("mqtt", [Arrived("a", None, 4, 2)]))
    assert times(queue) == [START, START + 1, START, START + 2]


def test_a_time_of_its_own_is_kept() -> None:
    """Whatever the clock says, and later undated readings come behind it."""
    clock, queue = Clock(), DeliveryQueue()
    inlet = DatedInlet(queue, clock)
    inlet.put(Delivery("mqtt", [Arrived("a", START + 50, 1, 2), Arrived("a", None, 2, 2)]))
    assert times(queue) == [START + 50, START + 51]


def test_adapters_on_many_threads_never_share_a_millisecond_of_a_point() -> None:
    """Or a reading would count as a repeat and be lost."""
    queue = DeliveryQueue()
    inlet = DatedInlet(queue, Clock())

    def put() -> None:
        for _ in range(500):
            inlet.put(Delivery("mqtt", [Arrived("a", None, 1, 2)]))

    threads = [threading.Thread(target=put) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    found = times(queue)
    assert len(found) == len(set(found)) == 2000
