"""Does the connection lose nothing, keep the order, and come back? Against a real broker."""

from __future__ import annotations

import socket
import subprocess
import threading
from pathlib import Path

import pytest

from adapters.intake import Arrived
from adapters.mqtt.connection import MqttAdapter
from rules.errors import SettingError
from tests.adapters.mqtt.listening import NOW, TOPIC, Kept, StoodClock, adapter, hearing, listening, retained, send
from tests.brokers import Broker, OldBroker, free_port
from tests.needs import program
from tests.waiting import until


def cut(made: MqttAdapter) -> None:
    """End the connection as a pulled cable does, without a word to the broker."""
    connection = made._current
    assert connection is not None
    assert connection.client is not None
    link = connection.client.socket()
    assert isinstance(link, socket.socket)
    link.shutdown(socket.SHUT_RDWR)


def test_readings_come_in_and_are_counted(broker: Broker) -> None:
    """Numbers and packs become deliveries; health tells how many, and what was refused."""
    kept = Kept()
    with listening(broker.port, kept) as made:
        send(broker.port, "21.5", "warm")
        send(broker.port, f'[{{"n":"tank.oxygen","t":{NOW // 1000},"v":7.5}}]', topic="packs")
        until(lambda: len(kept.deliveries) == 3)
        health = made.health()
    assert [delivery.readings for delivery in kept.deliveries] == [
        [Arrived("tank.temperature", None, 21500, 2)],
        [],
        [Arrived("tank.oxygen", NOW, 750, 2)],
    ]
    assert (health.name, health.state, health.received, dict(health.refused)) == (
        "mqtt",
        "connected",
        2,
        {"not a number": 1},
    )
    assert made.health().state == "stopped"


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_what_is_not_done_comes_again(broker: Broker, protocol: str) -> None:
    """The daemon dies before its readings are on disk: the next one hears them again, and what is done never more."""
    first = Kept()
    with listening(broker.port, first, protocol=protocol):
        send(broker.port, "1", "2", "3")
        until(lambda: first.counts() == [1000, 2000, 3000])
        first.deliveries[0].done()
    second = Kept()
    with listening(broker.port, second, protocol=protocol):
        until(lambda: second.counts() == [2000, 3000])
        second.commit()
    third = Kept()
    with listening(broker.port, third, protocol=protocol):
        send(broker.port, "4")
        until(lambda: third.counts() == [4000])


def test_what_is_refused_is_acknowledged_too(broker: Broker) -> None:
    """Else a payload that nobody can read would come again for ever."""
    kept = Kept()
    with listening(broker.port, kept):
        send(broker.port, "warm")
        until(lambda: len(kept.deliveries) == 1)
        kept.commit()
    again = Kept()
    with listening(broker.port, again):
        send(broker.port, "1")
        until(lambda: again.counts() == [1000])
    assert len(again.deliveries) == 1


def test_the_order_is_kept(broker: Broker) -> None:
    """Also through a lost connection with unacknowledged messages."""
    kept = Kept()
    numbers = [str(number) for number in range(300)]
    with listening(broker.port, kept) as made:
        send(broker.port, *numbers[:150])
        until(lambda: len(kept.deliveries) == 150)
        for delivery in kept.deliveries[:100]:
            delivery.done()
        kept.deliveries.clear()
        cut(made)
        until(lambda: len(kept.deliveries) >= 50)
        send(broker.port, *numbers[150:])
        until(lambda: kept.counts()[-1] == 299_000)
    # Some of the hundred acknowledgements may have been cut off with the cable.
    first = kept.counts()[0] // 1000
    assert first <= 100
    assert kept.counts() == [number * 1000 for number in range(first, 300)]


def test_an_acknowledgement_that_comes_late_is_not_sent_on_another_connection(broker: Broker) -> None:
    """Its number may name another message there; the message comes again instead."""
    kept = Kept()
    with listening(broker.port, kept) as made:
        send(broker.port, "1")
        until(lambda: kept.counts() == [1000])
        (old,) = kept.deliveries
        cut(made)
        until(lambda: kept.counts() == [1000, 1000])
        old.done()
    again = Kept()
    with listening(broker.port, again):
        until(lambda: again.counts() == [1000])


def test_under_3_1_1_the_window_asks_for_an_early_commit(broker: Broker) -> None:
    """The broker stops at twenty messages; a commit wherever it is wanted keeps the stream going."""
    kept = Kept()
    with listening(broker.port, kept, protocol="3.1.1"):
        send(broker.port, *[str(number) for number in range(100)])
        until(lambda: len(kept.deliveries) == 20)
        assert [delivery.wants_commit for delivery in kept.deliveries] == [False] * 9 + [True] * 11
        while len(kept.done) < 100:
            until(lambda: kept.wants_commit() or len(kept.done) + len(kept.deliveries) == 100)
            kept.commit()
    assert kept.done == [number * 1000 for number in range(100)]


def test_under_5_the_window_is_wide(broker: Broker) -> None:
    """Hundreds of messages under way need no early commit."""
    kept = Kept()
    with listening(broker.port, kept, protocol="5"):
        send(broker.port, *[str(number) for number in range(400)])
        until(lambda: len(kept.deliveries) == 400)
        assert not any(delivery.wants_commit for delivery in kept.deliveries)


@pytest.mark.parametrize("says", ["refuse", "hang up", "nothing"])
def test_a_broker_that_knows_3_1_1_alone_is_spoken_to_so(says: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether it refuses the newer protocol by number, ends the connection, or falls silent."""
    monkeypatch.setattr("adapters.mqtt.connection.ANSWER_WITHIN", 0.3 if says == "nothing" else 20.0)
    old = OldBroker(says)
    kept = Kept()
    try:
        with listening(old.port, kept):
            assert old.levels == [5, 4]
            assert old.subscribed == ["house/+/+", "packs"]
            old.publish(TOPIC, b"21.5", 7)
            until(lambda: kept.counts() == [21500])
            assert old.acknowledged == []
            kept.commit()
            until(lambda: old.acknowledged == [7])
    finally:
        old.close()


def test_a_protocol_that_was_asked_for_is_kept() -> None:
    """With `protocol = "5"` there is no other attempt, and health tells what the broker says."""
    old = OldBroker()
    made = adapter(old.port, protocol="5")
    try:
        made.start(Kept(), StoodClock())
        until(lambda: len(old.levels) == 3)
        assert set(old.levels) == {5}
        assert "Unsupported protocol version" in made.health().last_error
    finally:
        made.stop()
        old.close()


def test_a_refused_topic_is_told() -> None:
    """The keeper reads which topic the broker keeps from us."""
    old = OldBroker(granted=0x80)
    try:
        with listening(old.port, Kept()) as made:
            assert "does not let us read packs" in made.health().last_error
            assert len(made.notes) == 2
    finally:
        old.close()


def test_qos_0_is_told() -> None:
    """A broker that grants no acknowledgement can lose readings."""
    old = OldBroker(granted=0)
    try:
        with listening(old.port, Kept()) as made:
            assert any("QoS 0 only" in note for note in made.notes)
    finally:
        old.close()


def test_retained_messages_without_a_time_are_no_readings(broker: Broker) -> None:
    """Nobody knows how old they are; with a time of their own they are heard."""
    send(broker.port, "21.5", retain=True)
    send(broker.port, f'[{{"n":"tank.oxygen","t":{NOW // 1000},"v":7.5}}]', topic="packs", retain=True)
    kept = Kept()
    with listening(broker.port, kept) as made:
        until(lambda: len(kept.deliveries) == 2)
        assert kept.counts() == [750]
        assert made.health().refused == {"retained without a time": 1}
        send(broker.port, "22", retain=True)
        until(lambda: kept.counts() == [750, 22000])  # live, so dated on arrival


def test_a_payload_of_two_megabytes_is_refused_and_the_connection_goes_on(broker: Broker) -> None:
    """Refused, counted, acknowledged; the next message is heard."""
    kept = Kept()
    with listening(broker.port, kept) as made:
        send(broker.port, b"1" * 2_000_000, "21.5")
        until(lambda: kept.counts() == [21500])
        assert made.health().refused == {"payload too large": 1}
        assert made.health().state == "connected"


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_the_broker_keeps_our_status(broker: Broker, protocol: str) -> None:
    """`online` while we are there, `offline` after a farewell, and `offline` by last will when the link breaks."""
    topic = "tidebed/tide-house-7/status"
    with hearing(broker.port, topic) as heard:
        with listening(broker.port, Kept(), protocol=protocol) as made:
            assert made.status_topic == topic
            until(lambda: heard == [b"online"])
            cut(made)
            until(lambda: heard == [b"online", b"offline", b"online"])
        until(lambda: heard == [b"online", b"offline", b"online", b"offline"])
    assert retained(broker.port, topic) == b"offline"


def test_a_broker_that_comes_late_is_found(tmp_path: Path) -> None:
    """Starting without a broker raises nothing; health says what is wrong until it is there."""
    late = Broker(tmp_path)
    made = adapter(late.port)
    kept = Kept()
    made.start(kept, StoodClock())
    try:
        until(lambda: "no connection to 127.0.0.1" in made.health().last_error)
        assert made.health().state == "waiting"
        assert not made.drained()
        assert not made.publish("anything", b"")
        late.start()
        until(made.drained)
        assert (made.health().state, made.health().last_error) == ("connected", "")
        send(late.port, "21.5")
        until(lambda: kept.counts() == [21500])
    finally:
        made.stop()
        late.stop()


def test_what_was_sent_while_we_were_away_comes_after(broker: Broker) -> None:
    """Over a restart of the broker too; `drained` says when it is through."""
    kept = Kept()
    with listening(broker.port, kept):
        pass
    send(broker.port, *[str(number) for number in range(100)])
    broker.stop()
    broker.start()
    with listening(broker.port, kept):  # which waits for drained()
        assert kept.counts() == [number * 1000 for number in range(100)]


def test_a_restart_of_the_broker_loses_nothing(broker: Broker) -> None:
    """The connection comes back by itself, and the session with it."""
    kept = Kept()
    with listening(broker.port, kept) as made:
        send(broker.port, "1")
        until(lambda: kept.counts() == [1000])
        kept.commit()
        broker.stop()
        until(lambda: made.health().state == "waiting")
        broker.start()
        send(broker.port, "2")
        until(lambda: kept.counts() == [2000])
        until(lambda: made.health().state == "connected")
        assert made.notes == []


def test_a_forgotten_session_is_told(tmp_path: Path) -> None:
    """A broker that starts afresh has lost what was sent meanwhile; the keeper is told."""
    (tmp_path / "broker").mkdir()
    forgetful = Broker(tmp_path / "broker")
    forgetful.start()
    try:
        with listening(forgetful.port, Kept()) as made:
            forgetful.stop()
            (tmp_path / "broker" / "mosquitto.db").unlink()
            forgetful.start()
            until(lambda: any("forgotten our session" in note for note in made.notes))
    finally:
        forgetful.stop()


def test_a_backlog_of_just_the_brokers_limit_is_told(broker: Broker) -> None:
    """Mosquitto keeps 1000 messages by default and drops the others without a word."""
    kept = Kept()
    with listening(broker.port, kept):
        pass
    send(broker.port, *[str(number) for number in range(1100)])
    with listening(broker.port, kept) as made:
        assert len(kept.deliveries) == 1000
        assert any("had kept 1000 messages" in note for note in made.notes)


def test_a_full_inlet_is_waited_for(broker: Broker) -> None:
    """What the daemon cannot take in at once waits; nothing is lost, repeated or swapped, and health tells why."""
    kept = Kept(room=5)
    with listening(broker.port, kept) as made:
        send(broker.port, *[str(number) for number in range(20)])
        until(lambda: "not taken in" in made.health().last_error)
        assert made.health().state == "waiting"
        while len(kept.done) < 20:
            until(lambda: kept.deliveries)
            kept.commit()
        assert made.health().state == "connected"
    assert kept.done == [number * 1000 for number in range(20)]


def test_stopping_does_not_wait_for_a_full_inlet(broker: Broker) -> None:
    """At QoS 1 the message comes again; at QoS 0 nobody sends it again, and so it is counted."""
    kept = Kept(room=0)
    for qos in (0, 1):
        with listening(broker.port, kept) as made:
            send(broker.port, "1", qos=qos)
            until(lambda: "not taken in" in made.health().last_error)
            assert not made.drained()
        assert made.health().refused == ({"not taken in": 1} if qos == 0 else {})
    again = Kept()
    with listening(broker.port, again):
        until(lambda: again.counts() == [1000])


def test_an_error_in_the_program_is_not_silent(broker: Broker, monkeypatch: pytest.MonkeyPatch) -> None:
    """The thread ends, threading tells the error, and health says `failed`; the message comes again."""
    told: list[type[BaseException]] = []
    monkeypatch.setattr(threading, "excepthook", lambda args: told.append(args.exc_type))
    kept = Kept()
    kept.failure = ZeroDivisionError("a mistake")
    with listening(broker.port, kept) as made:
        send(broker.port, "1")
        until(lambda: made.health().state == "failed")
        assert "error in the program" in made.health().last_error
        until(lambda: told == [ZeroDivisionError])
    again = Kept()
    with listening(broker.port, again):
        until(lambda: again.counts() == [1000])


def test_two_clients_of_one_name_are_told(broker: Broker) -> None:
    """They throw each other out; after a few times both say what to change."""
    with listening(broker.port, Kept()) as made:
        other = adapter(broker.port)
        other.start(Kept(), StoodClock())
        for one in (made, other):
            until(lambda: any("another client_id" in note for note in one.notes))  # noqa: B023 - waited for in the turn
        other.stop()


def test_a_played_clock_comes_in_its_place(broker: Broker) -> None:
    """After the readings before it and before those after it."""
    kept = Kept()
    with listening(broker.port, kept, clock_topic="clock"):
        send(broker.port, "1")
        send(broker.port, str(NOW), topic="clock")
        send(broker.port, "2")
        until(lambda: len(kept.deliveries) == 3)
    assert [delivery.clock for delivery in kept.deliveries] == [None, NOW, None]


def test_publishing(broker: Broker) -> None:
    """Retained or not; false without a connection."""
    with listening(broker.port, Kept()) as made:
        assert made.publish("tidebed/test", b"heard", retain=True)
        assert retained(broker.port, "tidebed/test") == b"heard"
    assert not made.publish("tidebed/test", b"lost")


def test_stopping_is_idempotent_and_starting_again_works(broker: Broker) -> None:
    """An adapter that never started stops too."""
    kept = Kept()
    made = adapter(broker.port)
    made.stop()
    assert not made.drained()
    for number in (1, 2):
        made.start(kept, StoodClock())
        until(made.drained)
        send(broker.port, str(number))
        until(lambda: kept.counts()[-1:] == [number * 1000])  # noqa: B023 - waited for within the turn of the loop
        kept.commit()
        made.stop()
        made.stop()


def test_a_wrong_password_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the broker says stands in health; a password that is not there is said to be missing."""
    passwords = tmp_path / "passwords"
    passwords.touch(mode=0o600)
    command = [program("mosquitto_passwd", "mosquitto"), "-b", str(passwords), "tidebed", "right"]
    subprocess.run(command, check=True)
    guarded = Broker(tmp_path, f"allow_anonymous false\npassword_file {passwords}")
    guarded.start()
    monkeypatch.setenv("TEST_PASSWORD", "wrong")
    made = adapter(guarded.port, username="tidebed", password_env="TEST_PASSWORD")
    try:
        made.start(Kept(), StoodClock())
        until(lambda: "refused the connection: Not authorized" in made.health().last_error)
        monkeypatch.delenv("TEST_PASSWORD")
        until(lambda: "no TEST_PASSWORD" in made.health().last_error)
        monkeypatch.setenv("TEST_PASSWORD", "right")
        until(made.drained)
    finally:
        made.stop()
        guarded.stop()


@pytest.mark.filterwarnings(
    # The library leaves the socket of a failed handshake to the garbage collector.
    "ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning"
)
def test_tls(tmp_path: Path) -> None:
    """A broker whose certificate is signed by the named authority is trusted, and no other one."""
    ours, other = authority(tmp_path, "ours"), authority(tmp_path, "other")
    config = f"allow_anonymous true\ncafile {ours}.pem\ncertfile {ours}-broker.pem\nkeyfile {ours}-broker.key"
    guarded = Broker(tmp_path, config)
    guarded.start()
    try:
        with listening(guarded.port, Kept(), host="localhost", tls=True, ca_file=f"{ours}.pem") as made:
            assert made.health().state == "connected"
        distrusting = adapter(guarded.port, host="localhost", tls=True, ca_file=f"{other}.pem")
        distrusting.start(Kept(), StoodClock())
        until(lambda: "CERTIFICATE_VERIFY_FAILED" in distrusting.health().last_error)
        distrusting.stop()
        missing = adapter(guarded.port, host="localhost", tls=True, ca_file="none.pem")
        missing.start(Kept(), StoodClock())
        until(lambda: "No such file" in missing.health().last_error)
        missing.stop()
    finally:
        guarded.stop()


def authority(folder: Path, name: str) -> Path:
    """A certificate authority of the test's own, and a broker certificate for localhost that it signed."""
    tool, at = program("openssl"), folder / name

    def run(*arguments: str) -> None:
        subprocess.run([tool, *arguments], check=True, capture_output=True)

    key = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
    run("req", "-x509", *key, "-keyout", f"{at}.key", "-out", f"{at}.pem", "-days", "2", "-subj", f"/CN={name}",
        "-addext", "keyUsage=critical,keyCertSign")  # fmt: skip
    run("req", *key, "-keyout", f"{at}-broker.key", "-out", f"{at}.csr", "-subj", "/CN=localhost")
    (folder / f"{name}.ext").write_text("subjectAltName=DNS:localhost\n")
    run("x509", "-req", "-in", f"{at}.csr", "-CA", f"{at}.pem", "-CAkey", f"{at}.key", "-CAcreateserial",
        "-out", f"{at}-broker.pem", "-days", "2", "-extfile", f"{at}.ext")  # fmt: skip
    return at


def test_a_missing_password_is_a_setting_error() -> None:
    """The same error that `check` shows."""
    made = adapter(free_port(), username="tidebed", password_env="TEST_NO_PASSWORD")
    with pytest.raises(SettingError, match="TEST_NO_PASSWORD"):
        made._settings.password()
