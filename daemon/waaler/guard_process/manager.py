"""The service manager's notice protocol: ready, alive, stopping, and a line of status (sd_notify(3))."""

import os
import socket

__all__ = ["Manager"]


class Manager:
    """Speaks to the service manager that started this process; without one every call does nothing."""

    def __init__(self) -> None:
        path = os.environ.get("NOTIFY_SOCKET", "")
        self._path = "\0" + path[1:] if path.startswith("@") else path
        self._socket: socket.socket | None = None
        self._status = ""
        if path:
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
            self._socket.setblocking(False)

    def ready(self) -> None:
        self._say("READY=1")

    def alive(self) -> None:
        self._say("WATCHDOG=1")

    def stopping(self) -> None:
        self._say("STOPPING=1")

    def status(self, text: str) -> None:
        """Said when it changes."""
        if text != self._status:
            self._status = text
            self._say(f"STATUS={text}")

    def _say(self, text: str) -> None:
        if self._socket is None:
            return
        try:
            self._socket.sendto(text.encode(), self._path)
        except OSError:
            return  # a manager that does not listen must not stop the watering
