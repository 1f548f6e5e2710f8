"""Does a whole daemon tell its keeper of its own troubles: no readings, a full disk, a message that cannot be sent?"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from rules.messages import BODY_SIZE, TITLE_SIZE
from tests.adapters.receiver import receiving
from tests.brokers import free_port
from tests.waiting import LIMIT, until

SITE = """
[site]
name = "Troubled"
settle = "50 ms"

[[point]]
id = "loop.flow"
quantity = "flow"
unit = "L/min"
expect_every = "10 s"

[[rule]]
id = "loop.silent"
kind = "silent"
point = "loop.flow"
priority = "critical"

[[person]]
id = "keeper"
ways = ["phone"]

[[person]]
id = "ben"
ways = ["broken"]

[messages]
gather = "0 s"

[selfwatch]
every = "1 s"
no_readings_after = "1 s"
disk_free = 99.9
unsent_after = "1 s"

[adapter.mqtt]
host = "127.0.0.1"
port = PORT
topics = [{ topic = "house/flow", payload = "plain", point = "loop.flow" }]
"""


def test_its_own_troubles_are_told_with_what_to_do(tmp_path: Path) -> None:
    """To who can be reached, also that another cannot; each since when and what to do first; fit for a lock screen."""
    file = tmp_path / "site.toml"
    file.write_text(SITE.replace("PORT", str(free_port())))
    with receiving() as phone:
        environment = os.environ | {
            "PYTHONPATH": str(Path(__file__).parents[2]),
            "TIDEBED_WAY_PHONE": phone.address().reveal(),
            "TIDEBED_WAY_BROKEN": "json://127.0.0.1:1/x",
        }
        daemon = subprocess.Popen(
            [sys.executable, "-m", "daemon.main", "run", str(file)], env=environment, stderr=subprocess.DEVNULL
        )

        def told() -> dict[str, tuple[str, str]]:
            messages = [json.loads(body) for _, body in phone.got]
            return {one["title"].partition(":")[0]: (one["title"], one["message"]) for one in messages}

        wanted = {"No readings come in at all", "The disk is nearly full", "A critical message cannot be sent"}
        try:
            until(lambda: told().keys() >= wanted)
        finally:
            daemon.terminate()
            assert daemon.wait(LIMIT) == 0
    for title, text in told().values():
        assert " since " in text
        assert "First: " in text
        assert len(title) <= TITLE_SIZE
        assert len(text) <= BODY_SIZE
