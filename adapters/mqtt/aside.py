"""How does what is no reading pass over a broker: answers that people publish, and messages for a lamp or a siren?

One more connection beside the one that brings readings, so that neither can hold up the other. It keeps no session: an
answer given while the daemon was away is not heard later, when the alarm may be another one.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from enum import Enum
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from adapters.mqtt.settings import MqttSettings
from rules.errors import SettingError

LARGEST_PACKET = 4_096
"""Bytes that the broker may send; an answer is a name."""
ANSWER_WITHIN = 10.0
"""Seconds in which the broker must confirm a message."""

_log = logging.getLogger("tidebed.broker")


class Published(Enum):
    """What became of one message."""

    CONFIRMED = "confirmed"
    NOT_SENT = "not sent"
    """There was no connection."""
    UNKNOWN = "unknown"
    """The broker did not confirm it in time."""
    REFUSED = "refused"
    """The broker does not let us publish there."""


class Aside:
    """The connection; `publish` from any thread, `heard` on a thread of its own."""

    def __init__(
        self,
        settings: MqttSettings,
        client_id: str,
        topic: str | None = None,
        heard: Callable[[bytes], None] = lambda payload: None,
    ) -> None:
        """topic: what is listened to; heard: called with each payload that is published there and not a kept one."""
        self._settings, self._topic, self._heard = settings, topic, heard
        three = settings.protocol == "3.1.1"
        self._version = MQTTProtocolVersion.MQTTv311 if three else MQTTProtocolVersion.MQTTv5
        self._reasons: dict[int, ReasonCode] = {}
        self._connected = threading.Event()
        self._listening = threading.Event()
        self._trouble = ""
        self._client = Client(
            CallbackAPIVersion.VERSION2, client_id, clean_session=True if three else None, protocol=self._version
        )
        self._client.disable_logger()  # what goes wrong is told below
        self._client.reconnect_delay_set(1, 60)
        self._client.on_connect = self._on_connect
        self._client.on_connect_fail = self._on_connect_fail
        self._client.on_disconnect = self._on_disconnect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        self._client.on_publish = self._on_publish

    def start(self) -> None:
        """Begin to connect; returns at once, and does not raise for a broker that is not there."""
        settings = self._settings
        try:
            self._client.username_pw_set(settings.username, settings.password())
            if settings.tls:
                self._client.tls_set(ca_certs=None if settings.ca_file is None else str(settings.ca_file))
        except (SettingError, OSError) as error:
            self._told(f"nothing passes over the broker aside: {error}")
            return
        wanted = None
        if self._version == MQTTProtocolVersion.MQTTv5:
            wanted = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call] # the library gives it no types
            wanted.MaximumPacketSize = LARGEST_PACKET
        self._client.connect_async(settings.host, settings.used_port, settings.keepalive // 1000, properties=wanted)
        self._client.loop_start()

    def stop(self) -> None:
        """Take leave and join; idempotent."""
        self._connected.clear()
        self._client.disconnect()
        self._client.loop_stop()

    def wait_connected(self, seconds: float) -> bool:
        """Whether there is a connection within so many seconds, and the topic is listened to."""
        return self._connected.wait(seconds) and (self._topic is None or self._listening.wait(seconds))

    def publish(self, topic: str, payload: bytes) -> Published:
        """Publish at QoS 1 and wait until the broker confirms it."""
        if not self._connected.is_set():
            return Published.NOT_SENT
        info = self._client.publish(topic, payload, qos=1)
        try:
            info.wait_for_publish(ANSWER_WITHIN)
        except (ValueError, RuntimeError):
            # It was not even queued: too many wait, or the connection broke just now.
            return Published.NOT_SENT
        if not info.is_published():
            return Published.UNKNOWN
        reason = self._reasons.pop(info.mid, None)
        return Published.REFUSED if reason is not None and reason.is_failure else Published.CONFIRMED

    # The callbacks run on the client's thread.

    def _on_connect(
        self, client: Client, _userdata: Any, _flags: ConnectFlags, reason: ReasonCode, _properties: Properties | None
    ) -> None:
        if reason.is_failure:
            old = ' ([adapter.*] protocol = "3.1.1" would do)' if "version" in str(reason) else ""
            self._told(f"the broker refused the connection aside: {reason}{old}")
            return
        self._trouble = ""
        if self._topic is not None:
            client.subscribe(self._topic, qos=1)
        self._connected.set()

    def _on_connect_fail(self, _client: Client, _userdata: Any) -> None:
        self._told("no connection to the broker aside")

    def _on_disconnect(self, *_: Any) -> None:
        self._connected.clear()
        self._listening.clear()

    def _on_subscribe(
        self, _client: Client, _userdata: Any, _mid: int, reasons: list[ReasonCode], _properties: Properties | None
    ) -> None:
        if any(reason.is_failure for reason in reasons):
            self._told(f"the broker does not let us listen to {self._topic}: {reasons[0]}")
        else:
            self._listening.set()

    def _on_message(self, _client: Client, _userdata: Any, message: MQTTMessage) -> None:
        # A kept message may be years old.
        if not message.retain:
            self._heard(bytes(message.payload))

    def _on_publish(
        self, _client: Client, _userdata: Any, mid: int, reason: ReasonCode, _properties: Properties
    ) -> None:
        if len(self._reasons) > 1000:  # of messages that nobody waited for any more
            self._reasons.clear()
        self._reasons[mid] = reason

    def _told(self, trouble: str) -> None:
        if trouble != self._trouble:
            self._trouble = trouble
            _log.warning("%s", trouble)
