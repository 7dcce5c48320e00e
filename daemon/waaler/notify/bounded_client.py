"""The MQTT client, with an end to what a broker can make it take in."""

from paho.mqtt.client import Client

__all__ = ["MOST_PACKET_BYTES", "BoundedClient"]

MOST_PACKET_BYTES = 65_536
"""The broker is told so (MQTT 5.0, maximum packet size) and drops what is larger. One that does not is left."""


class BoundedClient(Client):
    """Ends the connection to a broker that announces a larger packet; the library would take 256 MB of it."""

    def _sock_recv(self, bufsize: int) -> bytes:
        if bufsize > MOST_PACKET_BYTES:
            raise ConnectionError("the broker sends more than it was told to")
        data: bytes = super()._sock_recv(bufsize)
        return data
