"""Is bad input counted by cause, shown in the health line, and never the end of the daemon?"""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from daemon.clock import SystemClock
from daemon.main import main
from daemon.site.load import load_site
from daemon.store import StoreReader
from demo_replay.broker import Broker
from tests.faults.test_killed_daemon import UNTIL, wait_for
from tests.needs import program

SITE = """
[site]
name = "Bad input"
timezone = "UTC"

[[point]]
id = "tank.temperature"
quantity = "water_temperature"
unit = "degC"

[[point]]
id = "tank.oxygen"
quantity = "dissolved_oxygen"

[adapter.mqtt]
host = "127.0.0.1"
port = PORT

[[adapter.mqtt.topics]]
topic = "house/plain/+"
point = "tank.{1}"

[[adapter.mqtt.topics]]
topic = "house/json"
payload = "json"
value = "/v"
time = "/t"
time_format = "ms"
unit_at = "/u"
point = "tank.temperature"
"""


def test_everything_wrong_at_once_is_counted_and_the_good_reading_behind_it_arrives(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Malformed payloads, wrong units, NaN, infinities, 1970, the far future, an unknown topic, two megabytes."""
    program("mosquitto")
    broker = Broker(tmp_path / "broker", kind="mosquitto")
    broker.start()
    (tmp_path / "site.toml").write_text(SITE.replace("PORT", str(broker.port)))
    log = tmp_path / "daemon.log"
    now = SystemClock().now()
    wrong: list[tuple[str, bytes]] = [
        ("house/plain/temperature", b"warm"),
        ("house/plain/temperature", b""),
        ("house/plain/temperature", b"NaN"),
        ("house/plain/temperature", b"Infinity"),
        ("house/plain/temperature", b"\xff\xfe\x00"),
        ("house/plain/temperature", b"1e400"),
        ("house/plain/colour", b"12"),
        ("house/plain/temperature", b"9" * 2_000_000),
        ("house/json", b"{"),
        ("house/json", b"[[[[" * 5_000),
        ("house/json", json.dumps({"t": now}).encode()),
        ("house/json", json.dumps({"t": 1_000, "v": 20, "u": "degC"}).encode()),
        ("house/json", json.dumps({"t": now + 10**12, "v": 20, "u": "degC"}).encode()),
        ("house/json", json.dumps({"t": now, "v": 20, "u": "mg/L"}).encode()),
        ("house/json", json.dumps({"t": now, "v": 20, "u": "furlong"}).encode()),
        ("house/json", json.dumps({"t": now, "v": "20", "u": "degC"}).encode()),
        ("house/json", b'{"t": 1, "v": NaN}'),
    ]
    with log.open("wb") as errors:
        daemon = subprocess.Popen(
            [sys.executable, "-m", "daemon.main", "run", str(tmp_path / "site.toml")],
            stderr=errors,
            cwd=Path(__file__).parents[2],
        )
    try:
        wait_for(lambda: b"watching" in log.read_bytes(), "the start", daemon)
        sender = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        sender.connect("127.0.0.1", broker.port)
        sender.loop_start()
        site = load_site(tmp_path / "site.toml")

        def stored(point: str) -> int:
            with StoreReader(site.store_path, site.plan.points) as store:
                return sum(len(block) for block in store.read(point, 0, 2**62))

        def subscribed() -> bool:
            sender.publish("house/plain/oxygen", b"7.5", qos=1).wait_for_publish(UNTIL)
            return stored("tank.oxygen") > 0

        wait_for(subscribed, "the subscription", daemon)
        for topic, payload in wrong:
            sender.publish(topic, payload, qos=1)
        sender.publish("house/plain/temperature", b"24.5", qos=1).wait_for_publish(UNTIL)
        wait_for(lambda: stored("tank.temperature") == 1, "the good reading", daemon)
        sender.loop_stop()
    finally:
        daemon.send_signal(signal.SIGTERM)
        assert daemon.wait(UNTIL) == 0, log.read_text()
        broker.stop()
    assert main(["now", str(tmp_path / "site.toml")]) == 0
    shown = capsys.readouterr().out
    assert "mqtt" in shown
    assert f"{len(wrong)} refused" in shown
    assert main(["now", str(tmp_path / "site.toml"), "--json"]) == 0
    (state,) = [line for line in map(json.loads, capsys.readouterr().out.splitlines()) if line["type"] == "adapter"]
    assert (state["name"], state["state"]) == ("mqtt", "stopped")
    assert sum(state["refused"].values()) == len(wrong)
    assert state["refused"]["payload too large"] == 1
    told = log.read_text()
    assert "adapter mqtt: connected" in told
    assert f"{len(wrong)} refused" in told, told
    assert "Traceback" not in told
