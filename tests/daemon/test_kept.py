"""Does the loop keep as many things after many alarms as after a few, as a daemon that runs for months must?"""

from __future__ import annotations

import gc
import json
from pathlib import Path

from adapters.intake import Arrived, Delivery
from daemon.loop import Loop
from daemon.queue import DeliveryQueue
from daemon.store import Store
from rules.flags import Flag
from tests.daemon.test_loop import Hands, make_plan

ROUNDS = 20
SLACK = ROUNDS // 2
"""Objects that come and go by themselves; one that is kept of each round would be more."""


def a_round(loop: Loop, queue: DeliveryQueue, hands: Hands) -> None:
    """Water stops for a quarter of an hour, nobody answers, it runs again for as long; a turn each 30 s."""
    for counts in (0, 250):
        for _ in range(30):
            hands.forward(30)
            queue.put(Delivery("test", [Arrived("loop.flow", hands.now() - 500, counts, Flag.NOT_EVALUATED)]))
            loop.turn(hands.monotonic())


def kept(loop: Loop) -> tuple[int, int]:
    """How many objects live, and how many numbers and texts the checkpoint holds."""
    assert loop.engine is not None
    gc.collect()
    state = json.dumps(loop.engine.state())
    return len(gc.get_objects()), state.count(",") + state.count(":")


def test_what_is_kept_does_not_grow_with_what_has_happened(tmp_path: Path) -> None:
    """After twice as many alarms, readings and messages as many objects live, and the checkpoint is no longer."""
    hands, plan = Hands(), make_plan()
    queue = DeliveryQueue(monotonic=hands.monotonic)
    with Store(tmp_path / "tidebed.sqlite", plan.points) as store:
        loop = Loop(plan, store, queue, hands, (), monotonic=hands.monotonic, wait=lambda seconds: None)
        for _ in range(ROUNDS):
            a_round(loop, queue, hands)
        before = kept(loop)
        for _ in range(ROUNDS):
            a_round(loop, queue, hands)
        after = kept(loop)
    assert after[0] <= before[0] + SLACK
    assert after[1] <= before[1]
