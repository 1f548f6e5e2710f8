"""How does a recorded span come in over MQTT as if it happened now? Reading by reading, with a clock that is played."""

from __future__ import annotations

import threading
import time
from bisect import bisect_left
from collections.abc import Callable, Iterable

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from demo_replay.pace import Pace
from demo_replay.script import TICK, Message, Moment
from rules.errors import TidebedError

CLOCK_TOPIC = "clock/played"
UNDER_WAY = 500
"""Messages at most that the broker has not acknowledged yet."""
_PATIENCE = 30.0
"""Seconds that the broker may take for anything."""
_KNOCK = 0.1


class PlayerStopped(TidebedError):
    """The broker is gone, or whoever should hear does not."""


def topic_of(point: str) -> str:
    """`glasshouse/tank/oxygen`: where the readings of `tank.oxygen` are published."""
    return f"glasshouse/{point.replace('.', '/')}"


class Player:
    """One connection to the broker on which everything is published in order, at QoS 1.

    `play` blocks; the rest may be read and called from other threads meanwhile.
    """

    def __init__(self, host: str, port: int) -> None:
        """Raises PlayerStopped where the broker does not answer."""
        self.now = 0
        """The played clock, ms UTC; 0 before it starts."""
        self.sent = 0
        """Readings published so far."""
        self.latest: dict[str, Message] = {}
        """The newest reading of each point."""
        self._ticks: list[tuple[int, float]] = []
        self._confirmed: int | None = None
        self._changed = threading.Condition()
        self._stopping = False
        self._free = threading.BoundedSemaphore(UNDER_WAY)
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv311)
        self._client.max_inflight_messages_set(UNDER_WAY)
        self._client.on_publish = self._acknowledged
        connected = threading.Event()
        self._client.on_connect = lambda *_: connected.set()
        try:
            self._client.connect(host, port)
        except OSError as error:
            raise PlayerStopped(f"no broker at {host}:{port} ({error.strerror or error}); start one there") from error
        self._client.loop_start()
        if not connected.wait(_PATIENCE):
            self._client.loop_stop()
            raise PlayerStopped(f"the broker at {host}:{port} does not answer; is it an MQTT broker?")

    def knock(self, instant: int, answered: Callable[[], bool], patience: float = _PATIENCE) -> None:
        """Publish the clock's first time, ms UTC, until whoever should hear answers.

        What is published before they have subscribed is lost; the same time again does no harm.
        Raises PlayerStopped after `patience` seconds, and when told to stop.
        """
        until = time.monotonic() + patience
        while not answered():
            if self._stopping or time.monotonic() > until:
                raise PlayerStopped("nobody hears the played clock; does the daemon run, and with this broker?")
            self._publish(CLOCK_TOPIC, str(instant).encode())
            with self._changed:
                self._changed.wait_for(lambda: self._stopping, _KNOCK)

    def play(self, script: Iterable[Moment], pace: Pace, ahead: float = 4.0) -> bool:
        """Publish each moment at its time; True when all of it is with the broker, False when told to stop.

        ahead: how many seconds' worth of the recording may be published before it is confirmed (see `confirm`); who
        falls behind is waited for. Raises PlayerStopped where nothing is confirmed or acknowledged for half a minute.
        """
        due = time.monotonic()
        for clock, messages in script:
            if self.now:
                due += pace.seconds(self.now, clock)
            # Of what was lost in waiting no more than this is made up for.
            due = max(due, time.monotonic() - ahead)
            # At a slow pace a single moment is more than that: the next one is never ahead.
            if not self._wait(due, clock, max(ahead * 1000 * pace.at(clock), 2 * TICK)):
                return False
            for message in messages:
                self._publish(topic_of(message.point), message.payload)
                self.latest[message.point] = message
                self.sent += 1
            self._publish(CLOCK_TOPIC, str(clock).encode())
            with self._changed:
                self._ticks.append((clock, time.monotonic()))
                self.now = clock
        self._settle()
        return True

    def confirm(self, instant: int) -> None:
        """Whoever hears has judged everything up to `instant`, ms UTC."""
        with self._changed:
            self._confirmed = instant
            self._changed.notify_all()

    def published_at(self, instant: int) -> float | None:
        """When (monotonic seconds) the played clock reached `instant`, ms UTC; None where it has not yet."""
        with self._changed:
            place = bisect_left(self._ticks, (instant, 0.0))
            return self._ticks[place][1] if place < len(self._ticks) else None

    def stop(self) -> None:
        """End `play` and `knock` soon."""
        with self._changed:
            self._stopping = True
            self._changed.notify_all()

    def close(self) -> None:
        """Leave the broker; idempotent."""
        self.stop()
        self._client.disconnect()
        self._client.loop_stop()

    def _wait(self, due: float, clock: int, most: float) -> bool:
        """Until it is time and those who hear have kept up; False when told to stop."""
        patience = time.monotonic() + _PATIENCE
        seen = self._confirmed
        with self._changed:
            while not self._stopping:
                now = time.monotonic()
                if self._confirmed != seen:
                    seen, patience = self._confirmed, now + _PATIENCE
                lags = self._confirmed is not None and clock - self._confirmed > most
                if not lags and now >= due:
                    return True
                if lags and now > patience:
                    raise PlayerStopped("the daemon judges nothing any more; its log says why")
                self._changed.wait(_PATIENCE if lags else due - now)
        return False

    def _publish(self, topic: str, payload: bytes) -> None:
        self._take_turn()
        self._client.publish(topic, payload, qos=1)

    def _settle(self) -> None:
        """Wait until the broker has acknowledged everything."""
        for _ in range(UNDER_WAY):
            self._take_turn()
        for _ in range(UNDER_WAY):
            self._free.release()

    def _take_turn(self) -> None:
        if not self._free.acquire(timeout=_PATIENCE):
            raise PlayerStopped("the broker acknowledges nothing any more; its log says why")

    def _acknowledged(self, *_: object) -> None:
        self._free.release()
