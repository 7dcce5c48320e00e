"""The connection to the MQTT 5 broker: paho's own thread, from which only small tuples come out.

A lock is never held over `publish`: paho calls back under a mutex of its own.
"""

import sys
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from typing import Any

from paho.mqtt.client import Client, MQTTMessage, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

__all__ = ["JSON", "SENML", "Acknowledged", "Away", "Broker", "Connection", "Down", "Found", "News", "Stop", "Up"]

JSON = "application/json"
SENML = "application/senml+json"
KEEP_ALIVE_S = 30
"""The broker tells of a silent death after one and a half times this (MQTT 5.0, keep alive)."""


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the broker is and how it knows us.

    ca_file: the authority that signed the broker's certificate; None: no TLS. certificate_file, key_file: ours,
    where the broker asks for one. longest_wait_s: between two tries to connect; the first come after 1, 2, 4 s.
    """

    host: str
    port: int
    user: str | None = None
    password: str | None = None
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    longest_wait_s: int = 60


@dataclass(frozen=True, slots=True)
class Up:
    """Connected."""


@dataclass(frozen=True, slots=True)
class Down:
    """The connection broke."""

    reason: str


@dataclass(frozen=True, slots=True)
class Away:
    """A try to connect failed; the next one comes by itself."""

    reason: str


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """The broker has the message, or refuses it for the reason given."""

    mid: int
    refused_because: str | None


@dataclass(frozen=True, slots=True)
class Found:
    """The broker keeps an alert of this kind from an earlier time."""

    kind: str


@dataclass(frozen=True, slots=True)
class Stop:
    """The process is asked to end."""


News = Up | Down | Away | Acknowledged | Found | Stop


class Connection:
    """news: takes what happens, from paho's thread. The will tells `false` on the topic `online`."""

    def __init__(self, broker: Broker, bed: str, news: SimpleQueue[News]) -> None:
        self._broker, self._root, self._news = broker, f"waaler/{bed}", news
        client = Client(CallbackAPIVersion.VERSION2, client_id=f"waaler-{bed}", protocol=MQTTProtocolVersion.MQTTv5)
        client.suppress_exceptions = True  # one that escaped would end paho's thread
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        client.on_message = self._on_message
        client.reconnect_delay_set(1, broker.longest_wait_s)
        client.will_set(f"{self._root}/online", b"false", qos=1, retain=True, properties=_properties(JSON))
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password)
        self._client = client

    def start(self) -> None:
        """Begins to connect and returns at once. Raises OSError for a certificate or key that cannot be read."""
        broker = self._broker
        if broker.ca_file is not None:
            self._client.tls_set(_text(broker.ca_file), _text(broker.certificate_file), _text(broker.key_file))
        self._client.connect_async(broker.host, broker.port, keepalive=KEEP_ALIVE_S)
        self._client.loop_start()

    def publish(
        self, topic: str, payload: bytes, content_type: str | None, qos: int = 1, is_retained: bool = False
    ) -> MQTTMessageInfo:
        """Hands a message to paho, which repeats one of QoS 1 until it is acknowledged. Raises ValueError."""
        properties = None if content_type is None else _properties(content_type)
        return self._client.publish(
            f"{self._root}/{topic}", payload, qos=qos, retain=is_retained, properties=properties
        )

    def stop(self, wait_s: float) -> None:
        """Says that we go, waits so long for that to be on its way, and closes."""
        if self._client.is_connected():
            said = self.publish("online", b"false", JSON, is_retained=True)
            said.wait_for_publish(wait_s)
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(self, client: Client, data: Any, flags: Any, reason: ReasonCode, properties: Any) -> None:  # noqa: ARG002
        if reason.is_failure:
            self._news.put(Away(f"refused: {reason}"))
            return
        self._news.put(Up())
        client.subscribe(f"{self._root}/alert/+", options=SubscribeOptions(qos=1, noLocal=True))

    def _on_connect_fail(self, client: Client, data: Any) -> None:  # noqa: ARG002
        problem = sys.exc_info()[1]  # paho calls this while it handles the error, and tells nothing of it
        self._news.put(Away("no connection" if problem is None else str(problem)))

    def _on_disconnect(self, client: Client, data: Any, flags: Any, reason: ReasonCode, properties: Any) -> None:  # noqa: ARG002
        self._news.put(Down(str(reason)))

    def _on_message(self, client: Client, data: Any, message: MQTTMessage) -> None:  # noqa: ARG002
        if message.retain and message.payload:
            self._news.put(Found(message.topic.rpartition("/")[2]))

    def _on_publish(self, client: Client, data: Any, mid: int, reason: ReasonCode, properties: Any) -> None:  # noqa: ARG002
        self._news.put(Acknowledged(mid, str(reason) if reason.is_failure else None))


def _properties(content_type: str) -> Properties:
    properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
    properties.ContentType = content_type
    return properties


def _text(path: Path | None) -> str | None:
    return None if path is None else str(path)
