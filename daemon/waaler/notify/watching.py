"""A subscriber of every bed's topics."""

import time
from collections.abc import Iterator
from queue import Empty, SimpleQueue

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from waaler.notify.bounded_client import BoundedClient
from waaler.notify.broker import Broker, connect_tls, limits_of_session
from waaler.notify.fleet import Fleet, take

__all__ = ["watch"]

TOPICS = ("waaler/+/online", "waaler/+/status", "waaler/+/alert/+")
MOST_WAITING = 20_000


def watch(broker: Broker, every_s: float) -> Iterator[tuple[Fleet, str]]:
    """The fleet so far, every so often for ever, and what is wrong with the connection, empty if nothing is.

    Raises OSError for a certificate or key that cannot be read.
    """
    inbox: SimpleQueue[tuple[str, bytes]] = SimpleQueue()
    trouble: list[str] = ["not connected yet"]
    client = BoundedClient(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    client.suppress_exceptions = True
    if broker.user is not None:
        client.username_pw_set(broker.user, broker.password)
    connect_tls(client, broker)

    def got(_: Client, __: object, message: MQTTMessage) -> None:
        if inbox.qsize() < MOST_WAITING:
            inbox.put((message.topic, bytes(message.payload)))

    def connected(client: Client, _: object, __: object, reason: object, ___: object) -> None:
        is_refused = getattr(reason, "is_failure", False)
        trouble[0] = f"refused: {reason}" if is_refused else ""
        client.subscribe([(topic, 1) for topic in TOPICS])

    client.on_message, client.on_connect = got, connected
    client.on_disconnect = lambda _, __, ___, reason, ____: trouble.__setitem__(0, f"connection lost: {reason}")
    client.on_connect_fail = lambda *_: trouble.__setitem__(0, "no connection")
    client.reconnect_delay_set(1, 30)
    client.connect_async(broker.host, broker.port, clean_start=True, properties=limits_of_session(0))
    client.loop_start()
    fleet = Fleet()
    try:
        while True:
            fleet = _gather(fleet, inbox, every_s)
            yield fleet, trouble[0]
    finally:
        client.disconnect()
        client.loop_stop()


def _gather(fleet: Fleet, inbox: SimpleQueue[tuple[str, bytes]], seconds: float) -> Fleet:
    """Takes what comes in that time."""
    end_s = time.monotonic() + seconds
    while (left_s := end_s - time.monotonic()) > 0:
        try:
            topic, payload = inbox.get(timeout=left_s)
        except Empty:
            break
        fleet = take(fleet, topic, payload, time.time())
    return fleet
