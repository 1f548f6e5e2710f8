"""Does a player publish a recording in order, at its pace, and stop where nobody keeps up?"""

from __future__ import annotations

import json
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from demo_replay import player as playing
from demo_replay.broker import HOST, Broker, free_port
from demo_replay.pace import Pace
from demo_replay.player import CLOCK_TOPIC, Player, PlayerStopped, topic_of
from demo_replay.script import Moment, script
from rules.block import block
from rules.events import show_time
from rules.plan import PointPlan
from tests.held_source import HeldSource
from tests.needs import program

BEGIN = 1_775_178_000_000
END = BEGIN + 600_000
POINTS = (
    PointPlan("tank.level", "level", "cm", Fraction("0.1")),
    PointPlan("groundloop.outlet_temperature", "air_temperature", "degC", Fraction("0.1")),
)
FAST = Pace(100_000, ((BEGIN, END),))


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    """A real broker."""
    program("mosquitto")
    with Broker(tmp_path_factory.mktemp("broker"), "mosquitto") as running:
        yield running


@pytest.fixture
def player(broker: Broker) -> Iterator[Player]:
    """A player on it."""
    made = Player(HOST, broker.port)
    yield made
    made.close()


class Hearer:
    """Subscribes to all that is published and keeps it in order."""

    def __init__(self, port: int) -> None:
        self.heard: list[tuple[str, str]] = []
        self.last = ""
        self.ended = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2)
        ready = threading.Event()
        connected = threading.Event()
        self.client.on_connect = lambda *_: connected.set()
        self.client.on_subscribe = lambda *_: ready.set()
        self.client.on_message = self._hear
        self.client.connect(HOST, port)
        self.client.loop_start()
        assert connected.wait(10)
        self.client.subscribe([("glasshouse/#", 1), (CLOCK_TOPIC, 1)])
        assert ready.wait(10)

    def _hear(self, _: mqtt.Client, __: object, message: mqtt.MQTTMessage) -> None:
        self.heard.append((message.topic, message.payload.decode()))
        if message.payload.decode() == self.last:
            self.ended.set()

    def close(self) -> None:
        """Leave."""
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def hearer(broker: Broker) -> Iterator[Hearer]:
    """Whoever hears the player."""
    made = Hearer(broker.port)
    yield made
    made.close()


def _until(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + 30
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.001)


def _source() -> HeldSource:
    times = range(BEGIN, END + 1, 7_000)
    return HeldSource(
        {point.id: block(point.id, [t + 10 * n for t in times], range(len(times))) for n, point in enumerate(POINTS)}
    )


def _script() -> Iterator[Moment]:
    return script(_source(), POINTS, BEGIN, END, 1000)


def test_everything_is_heard_in_the_order_of_the_script(player: Player, hearer: Hearer) -> None:
    """Readings and clock times arrive interleaved as the script has them, on the points' topics."""
    hearer.last = str(END + 1000)
    assert player.play(_script(), FAST)
    assert hearer.ended.wait(10)
    expected: list[tuple[str, str]] = []
    for clock, messages in _script():
        expected += [(topic_of(message.point), message.payload.decode()) for message in messages]
        expected.append((CLOCK_TOPIC, str(clock)))
    assert hearer.heard == expected
    assert player.sent == sum(topic != CLOCK_TOPIC for topic, _ in hearer.heard)
    assert player.now == END + 1000


def test_a_point_has_a_level_of_its_topic_for_each_part_of_its_name() -> None:
    """Dots become levels."""
    assert topic_of("groundloop.outlet_temperature") == "glasshouse/groundloop/outlet_temperature"


def test_no_reading_is_heard_after_a_clock_that_has_passed_it(player: Player, hearer: Hearer) -> None:
    """Whoever judges at each clock time has all readings up to it by then."""
    hearer.last = str(END + 1000)
    player.play(_script(), FAST)
    assert hearer.ended.wait(10)
    clock = show_time(0)
    for topic, payload in hearer.heard:
        if topic == CLOCK_TOPIC:
            clock = show_time(int(payload))
        else:
            assert json.loads(payload)["t"] > clock or clock == show_time(BEGIN)


def test_the_newest_reading_of_each_point_is_known(player: Player) -> None:
    """What was published last of each point is what the player shows."""
    player.play(_script(), FAST)
    newest = {point.id: 7_000 * (600_000 // 7_000) + BEGIN for point in POINTS}
    assert {name: message.time - 10 * place for place, (name, message) in enumerate(player.latest.items())} == newest


def test_when_an_instant_was_played_is_known_once_it_was(player: Player) -> None:
    """It is the moment of the first clock at or after it, and none before the end."""
    assert player.published_at(BEGIN) is None
    player.play(_script(), FAST)
    first, second, last = (player.published_at(BEGIN + t) for t in (0, 1, 601_000))
    assert first is not None
    assert second is not None
    assert last is not None
    assert first < second < last
    assert player.published_at(END + 1001) is None


def test_it_knocks_until_somebody_answers(player: Player, hearer: Hearer) -> None:
    """The first time is published again and again, then no more."""
    player.knock(BEGIN, lambda: len(hearer.heard) >= 3)
    assert set(hearer.heard) == {(CLOCK_TOPIC, str(BEGIN))}


def test_a_knock_that_nobody_answers_ends(player: Player) -> None:
    """After its patience it says what to look at."""
    with pytest.raises(PlayerStopped, match="nobody hears the played clock; does the daemon run"):
        player.knock(BEGIN, lambda: False, patience=0.05)


def test_a_knock_can_be_stopped(player: Player) -> None:
    """It does not wait for its patience."""
    with ThreadPoolExecutor(1) as pool:
        knocking = pool.submit(player.knock, BEGIN, lambda: False, 600.0)
        player.stop()
        with pytest.raises(PlayerStopped):
            knocking.result(10)


def test_it_is_done_only_when_the_broker_has_everything(tmp_path: Path) -> None:
    """While the broker stands still, what is published is not yet with it."""
    program("mosquitto")
    with Broker(tmp_path, "mosquitto") as broker, ThreadPoolExecutor(1) as pool:
        player = Player(HOST, broker.port)
        assert broker._process is not None
        broker._process.send_signal(signal.SIGSTOP)
        playing_on = pool.submit(player.play, _script(), FAST)
        _until(lambda: player.now == END + 1000)
        assert not playing_on.done()
        broker._process.send_signal(signal.SIGCONT)
        assert playing_on.result(30)
        player.close()


def test_it_does_not_run_ahead_of_who_hears(player: Player) -> None:
    """Once something was confirmed it stays within the span that may be ahead, and goes on as more is confirmed."""
    player.confirm(BEGIN)
    with ThreadPoolExecutor(1) as pool:
        playing_on = pool.submit(player.play, _script(), FAST, 0.002)  # 0.002 s at 100,000 times is 200 s
        _until(lambda: player.now >= BEGIN + 199_000)
        assert player.now <= BEGIN + 200_000
        player.confirm(BEGIN + 390_000)
        _until(lambda: player.now >= BEGIN + 579_000)
        assert player.now <= BEGIN + 590_000
        player.confirm(END)
        assert playing_on.result(10)


def test_who_confirms_nothing_any_more_is_not_waited_for_without_end(
    player: Player, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After the player's patience the reason is told."""
    monkeypatch.setattr(playing, "_PATIENCE", 0.05)
    player.confirm(BEGIN)
    with pytest.raises(PlayerStopped, match="the daemon judges nothing any more"):
        player.play(_script(), FAST, 0.002)


def test_it_can_be_stopped(player: Player) -> None:
    """At the recording's own speed it would take ten minutes; stopped, it ends at once and says so."""
    with ThreadPoolExecutor(1) as pool:
        playing_on = pool.submit(player.play, _script(), Pace(1))
        _until(lambda: player.now > 0)
        player.stop()
        assert playing_on.result(10) is False


def test_a_broker_that_dies_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is acknowledged any more: it does not wait without end."""
    program("mosquitto")
    monkeypatch.setattr(playing, "_PATIENCE", 0.2)
    monkeypatch.setattr(playing, "UNDER_WAY", 5)
    with Broker(tmp_path, "mosquitto") as running:
        player = Player(HOST, running.port)
        running.stop()
        with pytest.raises(PlayerStopped, match="the broker acknowledges nothing any more"):
            player.play(_script(), FAST)
        player.close()


def test_a_broker_that_comes_back_gets_what_it_had_not_acknowledged(tmp_path: Path) -> None:
    """Over a restart in the middle all readings reach the broker, in the end without a gap."""
    program("mosquitto")
    half = [moment for moment in _script() if moment.clock <= BEGIN + 300_000]
    rest = [moment for moment in _script() if moment.clock > BEGIN + 300_000]
    with Broker(tmp_path, "mosquitto") as running, ThreadPoolExecutor(1) as pool:
        player = Player(HOST, running.port)
        assert player.play(half, FAST)
        running.stop()
        playing_on = pool.submit(player.play, rest, FAST)
        _until(lambda: player.now >= END)
        running.start()
        assert playing_on.result(30)
        player.close()


def test_where_no_broker_is_it_says_so() -> None:
    """The address and what to do are named."""
    port = free_port()
    with pytest.raises(PlayerStopped, match=f"no broker at 127.0.0.1:{port} .*start one there"):
        Player(HOST, port)


def test_what_is_no_broker_is_not_waited_for_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody listens and says nothing."""
    monkeypatch.setattr(playing, "_PATIENCE", 0.05)
    with socket.socket() as silent:
        silent.bind((HOST, 0))
        silent.listen()
        with pytest.raises(PlayerStopped, match="does not answer; is it an MQTT broker"):
            Player(HOST, silent.getsockname()[1])
