"""A real broker and a real listener for these tests, on a free loopback port."""

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

__all__ = ["Listener", "Message", "Mosquitto"]

WAIT_S = 20.0
MISSING = "Mosquitto is missing: install it (Debian: apt-get install mosquitto), these tests talk to a real broker"


class Mosquitto:
    """extra: more lines of its configuration. A port that somebody took in between is tried again with another."""

    def __init__(self, folder: Path, *extra: str) -> None:
        program = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
        assert program is not None, MISSING
        self._program, self._folder, self._extra = program, folder, extra
        self.port = 0
        for _ in range(5):
            self.port = _free_port()
            if self.start():
                return
        raise AssertionError(f"mosquitto does not start: {self._log()}")

    def start(self) -> bool:
        """Starts it on its port; whether it listens."""
        config = self._folder / "mosquitto.conf"
        user = ["user root"] if os.geteuid() == 0 else []
        anonymous = [] if any("allow_anonymous" in line for line in self._extra) else ["allow_anonymous true"]
        lines = [*user, f"listener {self.port} 127.0.0.1", *anonymous, *self._extra]
        config.write_text("\n".join(lines) + "\n")
        with (self._folder / "mosquitto.log").open("ab") as log:
            self._process = subprocess.Popen([self._program, "-c", str(config)], stdout=log, stderr=log)
        return self._listens()

    def kill(self) -> None:
        self._process.send_signal(signal.SIGKILL)
        self._process.wait(timeout=WAIT_S)

    def stop(self) -> None:
        self._process.terminate()
        self._process.wait(timeout=WAIT_S)

    def _listens(self) -> bool:
        deadline_s = time.monotonic() + WAIT_S
        while time.monotonic() < deadline_s and self._process.poll() is None:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return self._process.poll() is None
            try:
                self._process.wait(timeout=0.02)
            except subprocess.TimeoutExpired:
                continue
        return False

    def _log(self) -> str:
        return (self._folder / "mosquitto.log").read_text(errors="replace")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass(frozen=True)
class Message:
    topic: str
    text: str
    is_retained: bool
    content_type: str | None
    expiry_s: int | None = None


class Listener:
    """Subscribes to everything and hands out the messages one by one."""

    def __init__(
        self,
        port: int,
        name: str = "listener",
        user: str | None = None,
        password: str | None = None,
        authority: Path | None = None,
    ) -> None:
        self._inbox: SimpleQueue[Message] = SimpleQueue()
        self.seen: list[Message] = []
        ready: SimpleQueue[None] = SimpleQueue()
        client = Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=MQTTProtocolVersion.MQTTv5)
        client.on_connect = lambda client, *_: client.subscribe("#", qos=1)
        client.on_subscribe = lambda *_: ready.put(None)
        client.on_message = lambda _, __, message: self._inbox.put(
            Message(
                message.topic,
                message.payload.decode(errors="replace"),
                message.retain,
                getattr(message.properties, "ContentType", None),
                getattr(message.properties, "MessageExpiryInterval", None),
            )
        )
        client.reconnect_delay_set(1, 1)
        if user is not None:
            client.username_pw_set(user, password)
        if authority is not None:
            client.tls_set(str(authority))
        client.connect("127.0.0.1", port)
        client.loop_start()
        ready.get(timeout=WAIT_S)
        self._client = client

    def wait_for(self, is_wanted: Callable[[Message], bool], what: str, seconds: float = WAIT_S) -> Message:
        """The next message of the kind; those before it are kept in `seen`."""
        deadline_s = time.monotonic() + seconds
        while True:
            try:
                message = self._inbox.get(timeout=max(0.0, deadline_s - time.monotonic()))
            except Empty:
                raise AssertionError(f"no {what} within {seconds:.0f} s; seen: {self.seen}") from None
            self.seen.append(message)
            if is_wanted(message):
                return message

    def topic(self, topic: str) -> Message:
        return self.wait_for(lambda message: message.topic == topic, topic)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
