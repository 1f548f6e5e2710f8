"""Is water that is lost only while the pump runs told apart from a leak, which goes on while it stands?"""

from __future__ import annotations

from dataclasses import replace

import pytest

from daemon.site.load import load_site
from demo_replay.days import SITE
from demo_replay.kinds import KINDS
from demo_replay.replay import replay
from demo_replay.simulate import simulate
from demo_replay.works import Failure

STOP, LOSS = KINDS["splashing"].failures


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(
    ("failures", "told"),
    [
        ((STOP, LOSS), True),
        ((STOP, replace(LOSS, end=24.0)), False),
        ((STOP,), False),
        ((LOSS,), False),
        ((replace(STOP, end=14.2), LOSS), False),
    ],
    ids=["only while it runs", "while it stands too", "no loss", "no stop", "a stop too short to tell"],
)
def test_a_splash_is_told_once_the_pump_stood_long_enough(
    failures: tuple[Failure, ...], told: bool, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """3.6 L an hour from one o'clock; the pump stands from 13:00 to 15:30 at the longest."""
    monkeypatch.setitem(KINDS, "splashing", replace(KINDS["splashing"], failures=failures, marks=()))
    events = replay(load_site(SITE).plan, simulate("splashing", seed).recording()).events
    alarms = [event for event in events if event.type == "alarm" and event.body["rule"] == "loop.splash"]
    assert bool(alarms) is told
