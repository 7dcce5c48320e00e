"""One connection to the broker, to see whether it takes us and a message.

A broker that binds the client id to the user takes it for the notifier itself, which comes back a moment later:
hence its session is kept.
"""

from queue import Empty, SimpleQueue

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from waaler.notify.bounded_client import BoundedClient
from waaler.notify.broker import Broker, connect_tls, limits_of_session

__all__ = ["trial"]

WAIT_S = 10.0


def trial(broker: Broker, bed: str) -> str | None:
    """Why a message is not taken, in words; None if it is. Raises OSError for a file that cannot be read."""
    said: SimpleQueue[str | None] = SimpleQueue()
    client = BoundedClient(
        CallbackAPIVersion.VERSION2, client_id=f"waaler-{bed}-test", protocol=MQTTProtocolVersion.MQTTv5
    )
    client.suppress_exceptions = True
    if broker.user is not None:
        client.username_pw_set(broker.user, broker.password)
    connect_tls(client, broker)

    def connected(client: Client, _: object, __: ConnectFlags, reason: ReasonCode, ___: object) -> None:
        if reason.is_failure:
            said.put(f"refused: {reason}")
        else:
            client.publish(f"waaler/{bed}/heartbeat", b'{"test": true}', qos=1)

    def published(_: Client, __: object, ___: int, reason: ReasonCode, ____: object) -> None:
        said.put(str(reason) if reason.is_failure else None)

    def lost(_: Client, __: object, ___: DisconnectFlags, reason: ReasonCode, ____: object) -> None:
        said.put(str(reason))

    client.on_connect, client.on_publish, client.on_disconnect = connected, published, lost
    try:
        client.connect(broker.host, broker.port, clean_start=False, properties=limits_of_session())
    except OSError as problem:
        return str(problem)
    client.loop_start()
    try:
        return said.get(timeout=WAIT_S)
    except Empty:
        return f"no answer within {WAIT_S:.0f} s"
    finally:
        client.disconnect()
        client.loop_stop()
