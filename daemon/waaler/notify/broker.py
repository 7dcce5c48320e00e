"""The connection to the MQTT 5 broker: paho's own thread, from which only small tuples come out.

A lock is never held over `publish`: paho calls back under a mutex of its own.
"""

import random
import re
import ssl
import sys
from dataclasses import dataclass, field
from pathlib import Path
from queue import SimpleQueue
from typing import Any

from paho.mqtt.client import Client, MQTTMessage, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from waaler.notify.bounded_client import MOST_PACKET_BYTES, BoundedClient
from waaler.notify.redaction import redacted
from waaler.settings.outside_file import bytes_of
from waaler.visible import one_line

__all__ = [
    "JSON", "KIND", "MOST_COMMAND_BYTES", "SENML", "Acknowledged", "Asked", "Away", "Broker", "Changed",
    "Connection", "Down", "Found", "Given", "News", "Stop", "Up", "connect_tls", "limits_of_session",
]  # fmt: skip

JSON = "application/json"
SENML = "application/senml+json"
KEEP_ALIVE_S = 30
"""The broker tells of a silent death after one and a half times this (MQTT 5.0, keep alive)."""

SESSION_S = 86_400
"""The broker keeps our subscriptions so long after we are gone (MQTT 5.0, session expiry interval)."""

WILL_AFTER_S = 2
"""A connection that is back by then was never away (MQTT 5.0, will delay interval)."""

MOST_AT_ONCE = 20
"""Messages that the broker may send before the first is acknowledged (MQTT 5.0, receive maximum)."""

MOST_COMMAND_BYTES = 1024
MOST_CERTIFICATE_BYTES = 1024 * 1024
MOST_WAITING = 100
MOST_FOUND = 200
KIND = re.compile(r"[a-z0-9][a-z0-9-]{0,60}")


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the broker is and how it knows us.

    ca_file: the authority that signed the broker's certificate; None: no TLS. certificate_file, key_file: ours,
    where the broker asks for one. longest_wait_s: between two tries to connect; the first after about 1, 2, 4 s.
    has_commands: whether orders are taken from it.
    """

    host: str
    port: int
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    longest_wait_s: float = 60.0
    has_commands: bool = False


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
class Given:
    """Somebody published an order."""

    payload: bytes
    is_retained: bool


@dataclass(frozen=True, slots=True)
class Changed:
    """Something changed in the daemon or its records."""


@dataclass(frozen=True, slots=True)
class Asked:
    """The daemon was asked for its status, whatever came of it."""


@dataclass(frozen=True, slots=True)
class Stop:
    """The process is asked to end."""


News = Up | Down | Away | Acknowledged | Found | Given | Changed | Asked | Stop


class Connection:
    """news: takes what happens, from paho's thread. The will tells `false` on the topic `online`."""

    def __init__(self, broker: Broker, bed: str, news: SimpleQueue[News]) -> None:
        self._broker, self._root, self._news = broker, f"waaler/{bed}", news
        client = BoundedClient(
            CallbackAPIVersion.VERSION2, client_id=f"waaler-{bed}", protocol=MQTTProtocolVersion.MQTTv5
        )
        client.suppress_exceptions = True  # one that escaped would end paho's thread
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        client.on_message = self._on_message
        self._found = 0
        self._set_patience(client)
        client.will_set(f"{self._root}/online", b"false", qos=1, retain=True, properties=_will())
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password)
        self._client = client

    def start(self) -> None:
        """Begins to connect and returns at once. Raises OSError for a certificate or key that cannot be read."""
        broker = self._broker
        connect_tls(self._client, broker)
        self._client.connect_async(
            broker.host, broker.port, keepalive=KEEP_ALIVE_S, clean_start=False, properties=limits_of_session()
        )
        self._client.loop_start()

    def publish(
        self,
        topic: str,
        payload: bytes,
        content_type: str | None,
        qos: int = 1,
        is_retained: bool = False,
        expiry_s: int | None = None,
    ) -> MQTTMessageInfo:
        """Hands a message to paho, which repeats one of QoS 1 until it is acknowledged. Raises ValueError.

        expiry_s: nobody gets it later than that.
        """
        properties = None if content_type is None else _properties(content_type, expiry_s)
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
            self._news.put(Away(self._plain(f"refused: {reason}")))
            return
        self._found = 0
        self._set_patience(client)
        self._news.put(Up())
        topics = [f"{self._root}/alert/+", *([f"{self._root}/do"] if self._broker.has_commands else [])]
        client.subscribe([(topic, SubscribeOptions(qos=1, noLocal=True)) for topic in topics])

    def _on_connect_fail(self, client: Client, data: Any) -> None:  # noqa: ARG002
        problem = sys.exc_info()[1]  # paho calls this while it handles the error, and tells nothing of it
        self._news.put(Away("no connection" if problem is None else self._plain(str(problem))))

    def _on_disconnect(self, client: Client, data: Any, flags: Any, reason: ReasonCode, properties: Any) -> None:  # noqa: ARG002
        self._news.put(Down(self._plain(str(reason))))

    def _on_message(self, client: Client, data: Any, message: MQTTMessage) -> None:  # noqa: ARG002
        """Whoever floods us fills no memory: what is too much or too large is dropped here."""
        last = message.topic.rpartition("/")[2]
        if message.topic == f"{self._root}/do":
            if self._broker.has_commands and self._news.qsize() < MOST_WAITING:
                self._news.put(Given(bytes(message.payload[: MOST_COMMAND_BYTES + 1]), message.retain))
        elif message.retain and message.payload and KIND.fullmatch(last) and self._found < MOST_FOUND:
            self._found += 1
            self._news.put(Found(last))

    def _set_patience(self, client: Client) -> None:
        """The waits double from the first to the longest; random ends keep a fleet from coming back all at once."""
        longest_s = max(1.0, self._broker.longest_wait_s * random.uniform(0.6, 1.0))
        client.reconnect_delay_set(min(random.uniform(0.5, 1.5), longest_s), longest_s)  # type: ignore[arg-type]

    def _on_publish(self, client: Client, data: Any, mid: int, reason: ReasonCode, properties: Any) -> None:  # noqa: ARG002
        self._news.put(Acknowledged(mid, self._plain(str(reason)) if reason.is_failure else None))

    def _plain(self, reason: str) -> str:
        """One line without the password."""
        return one_line(redacted(reason, [self._broker.password or ""]))


def connect_tls(client: Client, broker: Broker) -> None:
    """Where the file names the authority. Raises OSError, naming the file, for one that cannot be used."""
    if broker.ca_file is None:
        return
    files = [path for path in (broker.ca_file, broker.certificate_file, broker.key_file) if path is not None]
    for path in files:
        bytes_of(path, MOST_CERTIFICATE_BYTES)
    try:
        client.tls_set(_text(broker.ca_file), _text(broker.certificate_file), _text(broker.key_file))
    except (ssl.SSLError, ValueError) as problem:
        raise OSError(f"{', '.join(map(str, files))}: no certificate or key that fits: {problem}") from None


def _properties(content_type: str, expiry_s: int | None = None) -> Properties:
    properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
    properties.ContentType = content_type
    if expiry_s is not None:
        properties.MessageExpiryInterval = expiry_s
    return properties


def _will() -> Properties:
    properties = Properties(PacketTypes.WILLMESSAGE)  # type: ignore[no-untyped-call]
    properties.ContentType = JSON
    properties.WillDelayInterval = WILL_AFTER_S
    return properties


def limits_of_session(expiry_s: int = SESSION_S) -> Properties:
    """What a client tells the broker at CONNECT: how long to keep its session, and how much it takes at once."""
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = expiry_s
    properties.MaximumPacketSize = MOST_PACKET_BYTES
    properties.ReceiveMaximum = MOST_AT_ONCE
    return properties


def _text(path: Path | None) -> str | None:
    return None if path is None else str(path)
