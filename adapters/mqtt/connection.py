"""How does the connection to a message broker live? One thread that connects, listens, and comes back."""

from __future__ import annotations

import queue
import re
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from adapters.backoff import Backoff
from adapters.intake import Delivery, Health, Inlet, Refusal
from adapters.mqtt.backlog import Backlog
from adapters.mqtt.client import connect, new_client, subscribe
from adapters.mqtt.decode import Decoder
from adapters.mqtt.settings import MqttSettings
from adapters.mqtt.window import ANNOUNCED, USUAL, Window
from rules.clock import Clock
from rules.errors import SettingError
from rules.plan import PointPlan

_FIVE, _THREE = MQTTProtocolVersion.MQTTv5, MQTTProtocolVersion.MQTTv311
_MOST_NOTES = 20
ANSWER_WITHIN = 5.0
"""Seconds that a broker has to accept or refuse a connection."""
_FAREWELL = 1.0
_SETTLED = 10.0
"""Seconds after which a connection counts as a good one."""
_SHORT_ONES = 3
_TURN = 0.2
"""Seconds after which the thread looks whether it should stop."""


@dataclass(slots=True)
class _Connection:
    """What belongs to one connection and ends with it."""

    client: Client | None
    window: Window
    backlog: Backlog = field(default_factory=Backlog)
    answered: bool = False
    accepted: bool = False
    since: float = 0.0
    handing_on: bool = False


class MqttAdapter:
    """Readings from the topics of a broker, acknowledged once `Delivery.done` is called.

    The broker keeps a session for us: what is not acknowledged comes again after a crash or a reconnection of either
    side. A payload without a time of its own is then dated anew: at least once, not exactly once.
    """

    def __init__(
        self,
        settings: MqttSettings,
        points: Mapping[str, PointPlan],
        site: str,
        *,
        name: str = "mqtt",
        backoff: Backoff | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        """site: the site's name, of which client id and status topic are made; backoff: waits between attempts."""
        slug = re.sub(r"[^a-z0-9]+", "-", site.casefold()).strip("-") or "site"
        self.name = name
        self.status_topic = f"tidebed/{slug}/status"
        self._client_id = settings.client_id or f"tidebed-{slug}"
        self._settings = settings
        self._topics = list(dict.fromkeys(topic.topic for topic in settings.topics))
        if settings.clock_topic is not None:
            self._topics.append(settings.clock_topic)
        self._decoder = Decoder(name, settings, points)
        self._topics += [topic for topic in self._decoder.alive.topics if topic not in self._topics]
        # The broker's kept word on who is there, and the last of those who send changes only, are wanted each time.
        self._always = {topic.topic for topic in settings.topics if topic.alive} | set(self._decoder.alive.topics)
        self._backoff = backoff or Backoff()
        self._monotonic = monotonic
        self._version = _THREE if settings.protocol == "3.1.1" else _FIVE
        self._five_refused = False
        self._had_session = False
        self._short = 0
        self._clients: dict[MQTTProtocolVersion, Client] = {}
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        self._inlet: Inlet
        self._clock: Clock
        self._lock = threading.Lock()  # for what follows; never held while the inlet may block
        self._current: _Connection | None = None
        self._health = Health(name)
        self._notes: list[str] = []

    def start(self, inlet: Inlet, clock: Clock) -> None:
        """Begin to connect; returns at once, and never raises for a broker that is not there."""
        self._inlet, self._clock = inlet, clock
        self._stopping.clear()
        self._thread = threading.Thread(target=self._run, name=self.name, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Take leave of the broker, which keeps our session, and join the thread; idempotent."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def drained(self) -> bool:
        """Whether the broker has handed over what waited for us; never blocks."""
        with self._lock:
            connection = self._current
            if connection is None or not connection.accepted or connection.handing_on:
                return False
            done = connection.backlog.is_drained(self._monotonic(), connection.window.is_filling())
            note = connection.backlog.note()
        if note is not None:
            self._note(note)
        return done

    def health(self) -> Health:
        """A snapshot."""
        with self._lock:
            known = self._health
            return Health(known.name, known.state, known.received, known.refused.copy(), known.last_error)

    @property
    def notes(self) -> list[str]:
        """What the keeper should know about the broker and its settings."""
        with self._lock:
            return list(self._notes)

    def publish(self, topic: str, payload: bytes | str, retain: bool = False) -> bool:
        """Publish at QoS 1; False where there is no connection or too much is waiting already."""
        with self._lock:
            connection = self._current
            client = connection.client if connection is not None and connection.accepted else None
        if client is None:
            return False
        # Without a connection just now it goes out with the next one.
        taken = (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN)
        return client.publish(topic, payload, qos=1, retain=retain).rc in taken

    def _run(self) -> None:
        sound = False
        try:
            while not self._stopping.is_set():
                if self._converse():
                    self._backoff.reset()
                if not self._stopping.is_set():
                    self._is("waiting")
                    self._stopping.wait(self._backoff.next())
            sound = True
        finally:
            # An error that nobody expects ends the thread and is told by threading; health must tell it as well.
            self._is("stopped" if sound else "failed", "" if sound else "an error in the program; see the log")
            self._clients.clear()

    def _converse(self) -> bool:
        """One connection from beginning to end; whether it lasted a while."""
        settings = self._settings
        where = f"{settings.host}:{settings.used_port}"
        window = Window(ANNOUNCED if self._version == _FIVE else USUAL)
        try:
            client = self._client()
            connection = _Connection(client, window)
            with self._lock:
                self._current = connection
            connect(client, settings, self._version)
            until = self._monotonic() + ANSWER_WITHIN
            while not self._stopping.is_set() and (connection.answered or self._monotonic() < until):
                if not _turn(client):
                    break
                if connection.accepted:
                    self._repeat()
            self._take_leave(client, connection)
        except SettingError as error:
            self._is("waiting", str(error))
            return False
        except OSError as error:
            self._is("waiting", f"no connection to {where}: {error}")
            return False
        finally:
            self._forget()
        if not connection.answered and not self._stopping.is_set():
            self._is("waiting", f"{where} gave no answer")
            self._change_version()
        elif connection.accepted and settings.protocol == "auto" and not self._five_refused:
            self._version = _FIVE
        return connection.accepted and self._lasted(connection) >= _SETTLED

    def _lasted(self, connection: _Connection) -> float:
        return self._monotonic() - connection.since

    def _client(self) -> Client:
        """The client of the version in turn; it keeps our own unacknowledged messages between connections."""
        client = self._clients.get(self._version)
        if client is None:
            client = new_client(self._settings, self._client_id, self._version, self.status_topic)
            client.on_connect = self._on_connect
            client.on_subscribe = self._on_subscribe
            client.on_message = self._on_message
            client.on_disconnect = self._on_disconnect
            self._clients[self._version] = client
        return client

    def _take_leave(self, client: Client, connection: _Connection) -> None:
        if client.socket() is None:
            return
        if connection.accepted:
            client.publish(self.status_topic, "offline", qos=0, retain=True)
        client.disconnect()
        until = self._monotonic() + _FAREWELL
        while self._monotonic() < until and _turn(client):
            pass

    def _forget(self) -> None:
        """Acknowledgements that come late must not go out on another connection, where their numbers mean others."""
        with self._lock:
            if self._current is not None:
                self._current.client = None
            self._current = None

    def _change_version(self) -> None:
        if self._settings.protocol == "auto":
            self._version = _THREE if self._version == _FIVE else _FIVE

    def _is(self, state: str, error: str = "") -> None:
        with self._lock:
            self._health.state = state
            if error:
                self._health.last_error = error

    def _note(self, text: str) -> None:
        with self._lock:
            if text not in self._notes and len(self._notes) < _MOST_NOTES:
                self._notes.append(text)

    # The callbacks run on our thread, within Client.loop.

    def _on_connect(
        self, client: Client, _userdata: Any, flags: ConnectFlags, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        connection = self._current
        if connection is None:
            return
        connection.answered = True
        if reason.is_failure:
            self._is("waiting", f"the broker refused the connection: {reason}")
            if reason == "Unsupported protocol version":
                self._five_refused = self._version == _FIVE
                self._change_version()
            return
        with self._lock:
            connection.accepted, connection.since = True, self._monotonic()
            connection.backlog.accepted(self._monotonic(), flags.session_present, self._clock.now())
            self._health.state = "connected"
            self._health.last_error = ""
        if self._had_session and not flags.session_present:
            self._note("the broker had forgotten our session; what was sent while the link was down is lost")
        self._had_session = True
        subscribe(client, self._topics, self._version, self._always)
        client.publish(self.status_topic, "online", qos=1, retain=True)

    def _on_subscribe(
        self, _client: Client, _userdata: Any, _mid: int, reasons: list[ReasonCode], _properties: Properties
    ) -> None:
        for topic, reason in zip(self._topics, reasons, strict=False):
            if reason.is_failure:
                self._is("connected", f"the broker does not let us read {topic}: {reason}")
                self._note(f"the broker does not let us read {topic}: {reason}")
            elif reason.value == 0:
                self._note(f"the broker gives {topic} at QoS 0 only; readings can be lost on the way")
        with self._lock:
            if self._current is not None:
                self._current.backlog.subscribed(self._monotonic())

    def _on_message(self, _client: Client, _userdata: Any, message: MQTTMessage) -> None:
        connection = self._current
        if connection is None:
            return
        delivery = self._decoded(message)
        with self._lock:
            connection.handing_on = True
            connection.backlog.messages += 1
            self._health.received += len(delivery.readings)
            self._health.refused.update(refusal.cause for refusal in delivery.refusals)
            if message.qos:
                delivery.wants_commit = connection.window.heard()
                delivery.done = partial(self._acknowledge, connection, message.mid, message.qos)
        taken_in = self._hand_on(delivery)
        with self._lock:
            connection.handing_on = False
            connection.backlog.heard(self._monotonic(), delivery.readings)
            if not taken_in and message.qos == 0:
                self._health.refused["not taken in"] += 1

    def _repeat(self) -> None:
        """Hand on the last values of devices that send changes only and are there."""
        due = self._decoder.alive.due(self._monotonic())
        if due:
            with self._lock:
                self._health.received += len(due)
            self._hand_on(Delivery(self.name, due))

    def _hand_on(self, delivery: Delivery) -> bool:
        """Wait until the inlet takes it; no later message may overtake this one. False where we are to stop first.

        At QoS 1 it is then not acknowledged and comes again.
        """
        waited = False
        while True:
            try:
                self._inlet.put(delivery)
            except (queue.Full, TimeoutError):
                waited = True
                self._is("waiting", "readings are not taken in; the daemon is busy or its disk is")
                if self._stopping.wait(_TURN):
                    return False
            else:
                if waited:
                    self._is("connected")
                return True

    def _decoded(self, message: MQTTMessage) -> Delivery:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return Delivery(self.name, refusals=[Refusal("unknown topic", "a topic that is not UTF-8")])
        return self._decoder.decode(topic, bytes(message.payload), message.retain, self._clock.now(), self._monotonic())

    def _acknowledge(self, connection: _Connection, mid: int, qos: int) -> None:
        """Called by whoever has the readings on disk, on any thread."""
        with self._lock:
            if connection.client is None:
                return
            connection.window.acknowledged()
            connection.backlog.acknowledged(self._monotonic())
            connection.client.ack(mid, qos)

    def _on_disconnect(
        self,
        _client: Client,
        _userdata: Any,
        flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        connection = self._current
        if connection is None or not connection.accepted or self._stopping.is_set():
            return  # wanted, or told already
        told = "the broker ended the connection" if flags.is_disconnect_packet_from_server else "connection lost"
        self._is("waiting", f"{told}: {reason}")
        self._short = self._short + 1 if self._lasted(connection) < _SETTLED else 0
        if self._short >= _SHORT_ONES:
            # Most brokers end the older of two connections of one name; the two then throw each other out for ever.
            self._note(
                f"the connection breaks again and again soon after it begins; does another client call itself "
                f"{self._client_id}? Then one of the two needs another client_id"
            )


def _turn(client: Client) -> bool:
    """Wait a little for the socket and do what it wants; whether the connection is still there."""
    return client.socket() is not None and client.loop(_TURN) == MQTTErrorCode.MQTT_ERR_SUCCESS
