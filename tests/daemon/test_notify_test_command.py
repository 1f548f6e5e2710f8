"""Does a test message go by every way that an alarm might take, and does the command say which fails?"""

from __future__ import annotations

import json
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from daemon.main import main
from tests.adapters.receiver import receiving
from tests.brokers import Broker
from tests.needs import program
from tests.waiting import until

SITE = """
[[point]]
id = "loop.flow"
quantity = "flow"
expect_every = "10 s"

[[person]]
id = "keeper"
name = "Anna"
ways = ["phone"]
ways_for = { critical = ["phone", "siren"] }

[[person]]
id = "ben"
ways = ["nowhere"]

[adapter.mqtt]
host = "127.0.0.1"
port = PORT
topics = [{ topic = "house/flow", point = "loop.flow" }]
"""


def test_every_way_is_tried_those_for_single_priorities_and_topics_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The siren of critical alarms is on the site's broker; a way without an address is told, and ends in 1."""
    program("mosquitto")
    broker = Broker(tmp_path, "allow_anonymous true")
    broker.start()
    file = tmp_path / "site.toml"
    file.write_text(SITE.replace("PORT", str(broker.port)))
    heard: list[dict[str, str]] = []
    siren = mqtt.Client(CallbackAPIVersion.VERSION2)
    siren.on_message = lambda _client, _data, message: heard.append(json.loads(message.payload))
    siren.connect("127.0.0.1", broker.port)
    siren.loop_start()
    siren.subscribe("house/siren", qos=1)
    try:
        with receiving() as phone:
            monkeypatch.setenv("TIDEBED_WAY_PHONE", phone.address().reveal())
            monkeypatch.setenv("TIDEBED_WAY_SIREN", "mqtt-topic:house/siren")
            assert main(["notify-test", str(file), "--person", "keeper"]) == 0
            assert capsys.readouterr().out == "Anna by phone: delivered\nAnna by siren: delivered\n"
            until(lambda: heard)
            assert heard[0]["message"].startswith("This is a test.")
            assert len(phone.got) == 1
            assert main(["notify-test", str(file)]) == 1
            assert "ben by nowhere: refused: no address; add nowhere to [ways]" in capsys.readouterr().out
    finally:
        siren.disconnect()
        siren.loop_stop()
        broker.stop()


def test_a_person_who_is_not_there_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With who is."""
    file = tmp_path / "site.toml"
    file.write_text(SITE.replace("PORT", "1883"))
    assert main(["notify-test", str(file), "--person", "bob"]) == 2
    assert "there is no person 'bob'; known persons: keeper, ben" in capsys.readouterr().err


def test_that_nobody_can_be_told_is_said_beside_json_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And ends in 1; standard output holds JSON lines alone."""
    file = tmp_path / "site.toml"
    file.write_text(SITE.partition("[[person]]")[0])
    assert main(["notify-test", str(file), "--json"]) == 1
    said = capsys.readouterr()
    assert (said.out, "nobody can be told" in said.err) == ("", True)
    assert main(["notify-test", str(file)]) == 1
    assert "nobody can be told" in capsys.readouterr().out


def test_the_test_speaks_the_sites_language(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As every alarm will that comes this way."""
    file = tmp_path / "site.toml"
    head = '[site]\nname = "Erlengasse"\nlanguage = "de"\n'
    file.write_text(head + SITE.partition("[adapter.mqtt]")[0], encoding="utf-8")
    with receiving() as phone:
        for way in ("PHONE", "SIREN"):
            monkeypatch.setenv(f"TIDEBED_WAY_{way}", phone.address().reveal())
        assert main(["notify-test", str(file), "--person", "keeper"]) == 0
    told = [json.loads(body) for _, body in phone.got]
    assert [one["title"] for one in told] == ["Probe von Erlengasse"] * 2
    assert told[0]["message"].startswith("Dies ist eine Probe.")
