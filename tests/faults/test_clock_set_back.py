"""Does a daemon whose checkpoint is ahead of the board's clock say so, and watch in the end?"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from daemon.clock import SystemClock
from daemon.selfwatch.names import CLOCK
from daemon.selfwatch.plan import watched
from daemon.site.load import load_site
from daemon.store import Store, StoreReader
from rules.durations import HOUR
from rules.engine import Engine
from rules.texts import ENGLISH
from tests.adapters.receiver import receiving
from tests.waiting import LIMIT, until

SITE = """
[site]
name = "Set back"
settle = "50 ms"

[[point]]
id = "loop.flow"
quantity = "flow"
unit = "L/min"
expect_every = "10 s"

[[person]]
id = "keeper"
ways = ["phone"]

[selfwatch]
every = "1 s"
priorities = { "tidebed.clock" = "critical" }
"""
DAEMON = """
import sys
from pathlib import Path
import daemon.selfwatch.clock_trust as clock_trust
from daemon.service import Service, set_up_logging

set_up_logging()
clock_trust.TELL_AFTER, clock_trust.GO_ON_AFTER = 0.1, 1.5
Service(Path(sys.argv[1])).run()
"""


def test_a_daemon_that_starts_with_its_clock_set_back_tells_its_keeper_and_watches(tmp_path: Path) -> None:
    """First past the store that nothing is watched; then by its rule, which stands, how wrong the clock is."""
    file = tmp_path / "site.toml"
    file.write_text(SITE)
    site = load_site(file)
    plan = watched(site)
    ahead = SystemClock().now() + 2 * HOUR
    with Store(site.store_path, plan.points) as store:
        store.commit(checkpoint=Engine(plan, ahead).state())
    with receiving() as phone:
        environment = os.environ | {
            "PYTHONPATH": str(Path(__file__).parents[2]),
            "TIDEBED_WAY_PHONE": phone.address().reveal(),
        }
        with (tmp_path / "daemon.log").open("wb") as log:
            daemon = subprocess.Popen([sys.executable, "-c", DAEMON, str(file)], env=environment, stderr=log)
        try:
            until(lambda: len(phone.got) >= 2)
            titles = [json.loads(got[1])["title"] for got in phone.got]
        finally:
            daemon.terminate()
            assert daemon.wait(LIMIT) == 0
    assert titles[0] == f"{ENGLISH['unset_clock.title']}: Set back"
    assert titles[1].startswith("The board's clock is wrong or jumped: ")
    assert "which has passed; waiting for it to be set" in (tmp_path / "daemon.log").read_text()
    with StoreReader(site.store_path) as reader:
        events = reader.events(rule=CLOCK, type="alarm")
        judged = reader.checkpoint()
    assert [event.body["state"] for event in events] == ["unacknowledged"]
    assert events[0].t >= ahead
    assert abs(events[0].body["value"] - 2 * HOUR / 1000) < 60
    assert judged is not None
    assert judged["frontier"] > ahead
