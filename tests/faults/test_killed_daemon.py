"""Is anything lost when the daemon is killed again and again while readings come in?"""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from daemon.clock import SystemClock
from daemon.site.load import load_site
from daemon.store import StoreReader
from demo_replay.broker import Broker
from tests.adapters.receiver import Receiver, receiving
from tests.needs import program

READINGS = 10_000
KILLS = 20
UNTIL = 60.0
"""Seconds after which a wait has failed."""

SITE = """
[site]
name = "Killing ground"
timezone = "UTC"
settle = "100 ms"

[[point]]
id = "loop.flow"
quantity = "flow"
unit = "L/min"
resolution = 0.1
expect_every = "10 s"
RULES
[[person]]
id = "keeper"
ways = ["phone"]
recoveries = false

# A slow disk of the machine that runs this is not what it is about.
[selfwatch]
enabled = false

[store]
commit_every = "50 ms"

[adapter.mqtt]
host = "127.0.0.1"
port = PORT
topics = [{topic = "house/flow", payload = "json", value = "/v", time = "/t", time_format = "ms", point = "loop.flow"}]
"""


RULES = "".join(
    f"""
[[rule]]
id = "loop.stopped{number}"
kind = "stopped"
priority = "critical"
evidence = [{{point = "loop.flow", under = 2.0}}]
title = "Water has stopped"
"""
    for number in range(5)
)
"""Five rules that speak at once, so that there are ten alarms without one that chatters."""


def wait_for(true: Callable[[], bool], what: str, daemon: subprocess.Popen[bytes] | None = None) -> None:
    """Until it is true; fails with `what` was waited for."""
    end = time.monotonic() + UNTIL
    while not true():
        if daemon is not None and daemon.poll() is not None:
            pytest.fail(f"the daemon ended by itself while waiting for {what}")
        if time.monotonic() > end:
            pytest.fail(f"waited in vain for {what}")
        time.sleep(0.01)


def start_daemon(folder: Path, receiver: Receiver) -> subprocess.Popen[bytes]:
    """The real daemon, in a process of its own."""
    environment = os.environ | {"TIDEBED_WAY_PHONE": receiver.address().reveal()}
    with (folder / "daemon.log").open("ab") as log:
        return subprocess.Popen(
            [sys.executable, "-m", "daemon.main", "run", str(folder / "site.toml")],
            env=environment,
            stderr=log,
            cwd=Path(__file__).parents[2],
        )


def stored(folder: Path) -> dict[int, int]:
    """time -> counts of every reading in the store."""
    site = load_site(folder / "site.toml")
    if not site.store_path.exists():
        return {}
    with StoreReader(site.store_path, site.plan.points) as store:
        blocks = list(store.read("loop.flow", 0, 2**62))
        return {int(t): int(v) for block in blocks for t, v in zip(block.times, block.values, strict=True)}


def test_killed_at_random_moments_it_loses_no_reading_and_no_alarm(tmp_path: Path) -> None:
    """20 SIGKILLs while 10,000 readings at QoS 1 come in: each is stored exactly once, each alarm is sent.

    A message comes a second time only where the kill fell between sending and its record; then it says so.
    """
    program("mosquitto")
    rng = random.Random(20)
    broker = Broker(tmp_path / "broker", kind="mosquitto")
    broker.start()
    (tmp_path / "site.toml").write_text(SITE.replace("PORT", str(broker.port)).replace("RULES", RULES))
    start = SystemClock().now() - 2_000
    # Water stops twice for 40 readings.
    sent = {start + 5 * i: 0 if i % 5000 >= 4960 else 300 for i in range(READINGS)}
    published = 0
    with receiving() as receiver:
        daemon = start_daemon(tmp_path, receiver)
        try:
            wait_for(lambda: (tmp_path / "tidebed.sqlite").exists(), "the store", daemon)
            wait_for(lambda: "watching" in (tmp_path / "daemon.log").read_text(), "the start", daemon)
            sender = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
            sender.max_inflight_messages_set(200)
            sender.connect("127.0.0.1", broker.port)
            sender.loop_start()
            # The session exists once the daemon has subscribed; only then does the broker keep messages for it.
            first = min(sent)
            wait_for(lambda: _heard_probe(sender, tmp_path, first, sent), "the subscription", daemon)
            finished = threading.Event()

            def publish() -> None:
                nonlocal published
                for time_, counts in sent.items():
                    info = sender.publish("house/flow", json.dumps({"t": time_, "v": counts / 10}), qos=1)
                    published += 1
                    if published % 100 == 0:
                        info.wait_for_publish(UNTIL)
                finished.set()

            thread = threading.Thread(target=publish)
            thread.start()
            for number in range(KILLS):
                goal = (number + 1) * READINGS // (KILLS + 2)
                wait_for(lambda goal=goal: published >= goal or finished.is_set(), "the publisher", daemon)  # type: ignore[misc]  # a lambda with a bound default
                time.sleep(rng.uniform(0, 0.15))
                daemon.send_signal(signal.SIGKILL)
                daemon.wait()
                daemon = start_daemon(tmp_path, receiver)
            thread.join(UNTIL)
            wait_for(lambda: len(stored(tmp_path)) == READINGS, "all readings in the store", daemon)
            wait_for(lambda: len(_alarms(tmp_path)) >= 10, "all alarms", daemon)
            wait_for(lambda: _unsent(tmp_path) == 0, "all messages to be sent", daemon)
            alarms = _alarms(tmp_path)
        finally:
            daemon.send_signal(signal.SIGTERM)
            assert daemon.wait(UNTIL) == 0
            broker.stop()
        assert stored(tmp_path) == sent
        arrived = [json.loads(body) for _, body in receiver.got]
    ids = [message["message_id"] for message in arrived]
    assert len(alarms) == len(set(alarms))
    assert {(i.split("/")[0], int(i.split("/")[2])) for i in ids} == set(alarms), (
        "every alarm was sent, and nothing else"
    )
    seen: set[str] = set()
    for message in arrived:
        if message["message_id"] in seen:
            assert "may be a repeat" in message["message"]
        seen.add(message["message_id"])


def _heard_probe(sender: mqtt.Client, folder: Path, first: int, sent: dict[int, int]) -> bool:
    sender.publish("house/flow", json.dumps({"t": first, "v": sent[first] / 10}), qos=1).wait_for_publish(UNTIL)
    return first in stored(folder)


def _alarms(folder: Path) -> list[tuple[str, int]]:
    site = load_site(folder / "site.toml")
    with StoreReader(site.store_path, site.plan.points) as store:
        raised = [e for e in store.events(type="alarm") if e.body["state"] == "unacknowledged"]
    return [(e.body["rule"], e.t) for e in raised]


def _unsent(folder: Path) -> int:
    site = load_site(folder / "site.toml")
    with StoreReader(site.store_path, site.plan.points) as store:
        return len(store.unsent())
