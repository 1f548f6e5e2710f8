"""Are wrong settings of the broker connection refused, and secrets kept out of the site file?"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from adapters.mqtt.settings import MqttSettings
from rules.errors import SettingError

TABLE = """
host = "broker.invalid"
username = "tidebed"
password_env = "TEST_BROKER_PASSWORD"

[[topics]]
topic = "house/+/+"
point = "{1}.{2}"

[[topics]]
topic = "box"
payload = "json"
point = "tank.temperature"
value = "/t"
time = "/at"
time_format = "ms"
unit = "degF"

[[topics]]
topic = "packs/#"
payload = "senml"
names = { "urn:dev:ow:10e2073a01080063" = "tank.oxygen" }
"""


def settings(**changes: Any) -> MqttSettings:
    table: dict[str, Any] = {"topics": [{"topic": "a", "point": "tank.temperature"}]}
    return MqttSettings.model_validate(table | changes)


def test_a_table_of_the_site_file() -> None:
    """The keys as they stand in a site file, and their defaults."""
    found = MqttSettings.model_validate(tomllib.loads(TABLE))
    assert found.used_port == 1883
    assert settings(tls=True).used_port == 8883
    assert settings(tls=True, port=1).used_port == 1
    assert found.named_points() == ["tank.temperature", "tank.oxygen"]
    assert (found.keepalive, found.session_expiry, found.max_payload) == (60_000, 604_800_000, 65_536)


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"password_env": "A"}, "a password needs a username"),
        ({"username": "a", "password_env": "A", "password_file": "b"}, "not both"),
        ({"ca_file": "ca.pem"}, "needs tls"),
        ({"clock_topic": "clock", "host": "broker.invalid"}, "only for a broker on this machine"),
        ({"clock_topic": "clock", "host": "192.0.2.1"}, "only for a broker on this machine"),
        ({"clock_topic": "clock/#"}, "must name one topic"),
        ({"keepalive": "4 s"}, "keepalive must lie between"),
        ({"keepalive": 60}, "has no unit"),
        ({"port": 0}, "greater than or equal to 1"),
        ({"topics": []}, "at least 1"),
        ({"max_payload": 5_000_000}, "less than or equal to 4194304"),
        ({"qos": 2}, "Extra inputs"),
        ({"topics": [{"topic": "a#", "point": "p"}]}, "stands for all levels|# for all levels"),
        ({"topics": [{"topic": "a"}]}, "point is missing"),
        ({"topics": [{"topic": "a", "point": "{1}"}]}, "nothing fills"),
        ({"topics": [{"topic": "a", "point": "{name}"}]}, "nothing fills"),
        ({"topics": [{"topic": "a", "point": "p", "value": "/v"}]}, 'value is for payload = "json"'),
        ({"topics": [{"topic": "a", "point": "p", "payload": "json"}]}, "json has no value"),
        ({"topics": [{"topic": "a", "point": "p", "payload": "json", "value": "v"}]}, "JSON Pointer"),
        (
            {"topics": [{"topic": "a", "point": "p", "payload": "json", "value": "/v", "names": {"a": "b"}}]},
            "names is for",
        ),
        ({"topics": [{"topic": "a", "point": "p", "unit": "furlong"}]}, "furlong"),
        ({"topics": [{"topic": "a", "point": "p", "payload": "xml"}]}, "'plain', 'json', 'senml' or 'senml_cbor'"),
    ],
)
def test_what_makes_no_sense_is_refused(changes: dict[str, Any], told: str) -> None:
    """Each mistake is told by what is wrong with it."""
    with pytest.raises(ValidationError, match=told):
        settings(**changes)


def test_a_password_in_the_site_file_is_refused_and_not_shown() -> None:
    """It belongs into password_file or password_env; the error does not repeat it."""
    with pytest.raises(ValidationError, match="password") as caught:
        settings(username="tidebed", password="hunter2")
    assert "hunter2" not in f"{caught.value} {caught.value.errors()}"


@pytest.mark.parametrize(
    ("host", "loopback"),
    [("localhost", True), ("127.0.0.1", True), ("127.8.8.8", True), ("::1", True), ("192.168.1.5", False),
     ("localhost.example", False), ("0.0.0.0", False)],
)  # fmt: skip
def test_a_played_clock_is_for_this_machine_alone(host: str, loopback: bool) -> None:
    """By name or address; nobody on the network may set the daemon's clock."""
    assert settings(host=host).is_loopback() is loopback


def test_the_password_comes_from_the_environment_or_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A line end after it is no part of it; what is missing is named, and its content never told."""
    monkeypatch.setenv("TEST_BROKER_PASSWORD", "from-env")
    assert settings(username="a", password_env="TEST_BROKER_PASSWORD").password() == "from-env"
    file = tmp_path / "password"
    file.write_text("from file \n")
    assert settings(username="a", password_file=file).password() == "from file "
    assert settings().password() is None
    monkeypatch.delenv("TEST_BROKER_PASSWORD")
    with pytest.raises(SettingError, match="no TEST_BROKER_PASSWORD"):
        settings(username="a", password_env="TEST_BROKER_PASSWORD").password()
    with pytest.raises(SettingError, match="cannot be read"):
        settings(username="a", password_file=tmp_path / "none").password()
