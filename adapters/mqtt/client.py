"""How is the protocol library set up for us? A client of one protocol version, not yet connected."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from adapters.mqtt.settings import MqttSettings
from adapters.mqtt.window import ANNOUNCED

LARGEST_PACKET = 8 * 1024 * 1024
"""Bytes; under MQTT 5 the broker keeps larger messages to itself, so that none can fill our memory."""
_MOST_WAITING = 1000
"""Our own messages that may wait for the broker."""
_CONNECT_TIMEOUT = 5.0
_MOST_SECONDS = 2**32 - 1


def new_client(settings: MqttSettings, client_id: str, version: MQTTProtocolVersion, status_topic: str) -> Client:
    """A client that acknowledges only when told to, and leaves a retained `offline` when it dies.

    Raises OSError where the certificates cannot be read.
    """
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id,
        clean_session=None if version == MQTTProtocolVersion.MQTTv5 else False,
        protocol=version,
        reconnect_on_failure=False,
        manual_ack=True,
    )
    client.disable_logger()  # what goes wrong stands in the adapter's health
    client.connect_timeout = _CONNECT_TIMEOUT
    client.max_queued_messages_set(_MOST_WAITING)
    # With this callback set, what another thread sends (acknowledgements) is queued for the thread that runs the
    # loop. Without it the library would write to the socket from both.
    client.on_socket_register_write = _written_by_the_loop
    client.will_set(status_topic, "offline", qos=1, retain=True)
    if settings.tls:
        client.tls_set(ca_certs=None if settings.ca_file is None else str(settings.ca_file))
    return client


def _written_by_the_loop(_client: Client, _userdata: Any, _socket: Any) -> None:
    """The loop is woken in another way."""


def connect(client: Client, settings: MqttSettings, version: MQTTProtocolVersion) -> None:
    """Open the connection and ask the broker to keep a session for us.

    Raises OSError where there is no broker or no trust, and SettingError where the password is missing.
    """
    client.username_pw_set(settings.username, settings.password())
    keepalive = settings.keepalive // 1000
    if version != MQTTProtocolVersion.MQTTv5:
        client.connect(settings.host, settings.used_port, keepalive)
        return
    wanted = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call] # the library gives it no types
    wanted.SessionExpiryInterval = min(settings.session_expiry // 1000, _MOST_SECONDS)
    wanted.ReceiveMaximum = ANNOUNCED
    wanted.MaximumPacketSize = LARGEST_PACKET
    client.connect(settings.host, settings.used_port, keepalive, clean_start=False, properties=wanted)


def subscribe(client: Client, topics: list[str], version: MQTTProtocolVersion, always: Collection[str] = ()) -> None:
    """Read the topics at QoS 1; under MQTT 5 kept messages are sent for a new subscription only.

    always: topics of which the kept message is wanted at each connection.
    """
    if version == MQTTProtocolVersion.MQTTv5:
        if_new = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
        each_time = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE)
        client.subscribe([(topic, each_time if topic in always else if_new) for topic in topics])
    else:
        client.subscribe([(topic, 1) for topic in topics])
