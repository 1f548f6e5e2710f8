"""How fast does the daemon take readings in at QoS 1, against a bare subscriber that only counts?

Run by hand: `python -m tests.benchmarks.intake [MESSAGES]`. Both hear the same publisher on the same broker, one after
the other, in alternating rounds; the ratio of the better rounds is printed.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from daemon.clock import SystemClock
from daemon.site.load import load_site
from daemon.store import StoreReader
from demo_replay.broker import Broker

ROUNDS = 3
POINTS = 10
ROOT = Path(__file__).parents[2]

SITE = """
[site]
name = "Intake"
timezone = "UTC"

[adapter.mqtt]
host = "127.0.0.1"
port = PORT
topics = [{topic = "intake/+", payload = "json", value = "/v", time = "/t", time_format = "ms", point = "probe.{1}"}]
""" + "".join(
    f"""
[[point]]
id = "probe.p{number}"
quantity = "water_temperature"
unit = "degC"
expect_every = "10 s"

[[rule]]
id = "probe.p{number}.warm"
kind = "band"
point = "probe.p{number}"
high = 30.0
deadband = 0.5
on_delay = "10 min"
"""
    for number in range(POINTS)
)

PUBLISHER = """
import json, sys, threading, time
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
port, count, start, points = (int(x) for x in sys.argv[1:5])
client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
client.max_inflight_messages_set(1000)
free = threading.BoundedSemaphore(1000)
client.on_publish = lambda *_: free.release()
client.connect("127.0.0.1", port)
client.loop_start()
for i in range(count):
    free.acquire()
    client.publish(f"{sys.argv[5]}/p{i % points}", json.dumps({"t": start + i, "v": 20 + i % 50 / 10}), qos=1)
for _ in range(1000):
    free.acquire()
client.disconnect()
client.loop_stop()
"""


def publish(port: int, count: int, start: int, under: str) -> subprocess.Popen[bytes]:
    """The publisher, in a process of its own."""
    arguments = [str(x) for x in (port, count, start, POINTS)]
    return subprocess.Popen([sys.executable, "-c", PUBLISHER, *arguments, under])


def bare(port: int, count: int, start: int) -> float:
    """Messages a second that a subscriber takes which does nothing but count."""
    heard = 0
    done, ready = threading.Event(), threading.Event()

    def hear(*_: object) -> None:
        nonlocal heard
        heard += 1
        if heard == count:
            done.set()

    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5, client_id="bare")
    client.on_message = hear
    client.on_subscribe = lambda *_: ready.set()
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho leaves it untyped
    properties.ReceiveMaximum = 65535
    client.connect("127.0.0.1", port, properties=properties)
    client.loop_start()
    client.subscribe("bare/+", qos=1)
    ready.wait(10)
    begun = time.perf_counter()
    sender = publish(port, count, start, "bare")
    done.wait(300)
    spent = time.perf_counter() - begun
    sender.wait()
    client.disconnect()
    client.loop_stop()
    return count / spent


def daemon(port: int, count: int, start: int, folder: Path) -> float:
    """Messages a second that the daemon takes: decoded, stored on disk, judged and acknowledged."""
    site_file = folder / "site.toml"
    site_file.write_text(SITE.replace("PORT", str(port)))
    process = subprocess.Popen(
        [sys.executable, "-m", "daemon.main", "run", str(site_file)], cwd=ROOT, stderr=subprocess.PIPE
    )
    assert process.stderr is not None
    while b"watching" not in process.stderr.readline():
        pass
    site = load_site(site_file)
    last = start + count - 1
    probe = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    probe.connect("127.0.0.1", port)
    probe.loop_start()
    with StoreReader(site.store_path, site.plan.points) as store:
        # Until its subscription stands.
        while not store.span():
            probe.publish("intake/p0", json.dumps({"t": start - 1, "v": 20}), qos=1).wait_for_publish(5)
            time.sleep(0.02)
        begun = time.perf_counter()
        sender = publish(port, count, start, "intake")
        while (span := store.span()) is None or span[1] < last:
            time.sleep(0.02)
        spent = time.perf_counter() - begun
        stored = sum(len(block) for point in store.points() for block in store.read(point, start - 1, last))
    sender.wait()
    probe.disconnect()
    probe.loop_stop()
    process.send_signal(signal.SIGTERM)
    process.wait()
    assert stored == count, f"{stored} of {count} readings are in the store"
    return count / spent


def main() -> None:
    """Alternate, and print rates and ratio."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    rates: dict[str, list[float]] = {"bare": [], "daemon": []}
    with tempfile.TemporaryDirectory() as name:
        broker = Broker(Path(name) / "broker", kind="mosquitto")
        broker.start()
        os.environ.pop("TIDEBED_SITE", None)
        for round_ in range(ROUNDS):
            start = SystemClock().now() - count - 5_000
            rates["bare"].append(bare(broker.port, count, start))
            folder = Path(name) / f"site{round_}"
            folder.mkdir()
            rates["daemon"].append(daemon(broker.port, count, start, folder))
        broker.stop()
    for what, found in rates.items():
        print(f"{what:<8} {', '.join(f'{rate:,.0f}' for rate in found)} messages/s")
    print(f"ratio daemon / bare: {max(rates['daemon']) / max(rates['bare']):.2f} (wanted: 0.8 or better)")


if __name__ == "__main__":
    main()
