"""The guard's own socket: `stop` and what it holds, one JSON line in, one out. It works while the keeper hangs.

The folder's group is the access control. Nothing waits for anybody: a connection that dribbles is closed.
"""

import json
import pwd
import socket
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from selectors import EVENT_READ, BaseSelector
from typing import Any

from waaler.devices.local_socket import listen, peer_of, unlink_own

__all__ = ["OrderSocket"]

MOST_BYTES = 1024
MOST_CONNECTIONS = 8
WITHIN_S = 2.0

Answer = Callable[[str, str], dict[str, Any]]


class OrderSocket:
    """answer: (what is asked, by whom) -> the reply. Its connections are looked at by the guard's one loop.

    problem: why the socket could not be opened, empty if it could.
    """

    def __init__(self, path: Path, selector: BaseSelector, answer: Answer) -> None:
        self._path, self._selector, self._answer = path, selector, answer
        self._names = {user.pw_uid: user.pw_name for user in pwd.getpwall()}
        self._connections: dict[socket.socket, tuple[float, bytes]] = {}
        self._listener: socket.socket | None = None
        self._is_listening = False
        self._inode = 0
        self.problem = ""

    def look(self, now_s: float) -> None:
        """Once a second: opens the socket where it is not open, and closes what takes too long."""
        if self._listener is None:
            try:
                self._open()
            except OSError as problem:
                self.problem = str(problem)
            else:
                self.problem = ""
        if self._listener is not None and not self._is_listening:
            self._selector.register(self._listener, EVENT_READ, self._accept)
            self._is_listening = True
        for connection, (since_s, _) in tuple(self._connections.items()):
            if now_s - since_s > WITHIN_S:
                self._close(connection)

    def close(self) -> None:
        for connection in tuple(self._connections):
            self._close(connection)
        if self._listener is not None:
            self._listener.close()
            with suppress(OSError):
                unlink_own(self._path, self._inode)

    def _open(self) -> None:
        self._listener, self._inode = listen(self._path, MOST_CONNECTIONS)
        self._listener.setblocking(False)

    def _accept(self, now_s: float) -> None:
        """Without a free file handle the listener rests until the next look."""
        assert self._listener is not None
        try:
            connection, _ = self._listener.accept()
        except BlockingIOError:
            return
        except OSError:
            self._selector.unregister(self._listener)
            self._is_listening = False
            return
        if len(self._connections) >= MOST_CONNECTIONS:
            self._close(min(self._connections, key=lambda one: self._connections[one][0]))
        connection.setblocking(False)
        self._connections[connection] = (now_s, b"")
        self._selector.register(connection, EVENT_READ, lambda _: self._read(connection))

    def _read(self, connection: socket.socket) -> None:
        since_s, line = self._connections[connection]
        try:
            piece = connection.recv(MOST_BYTES)
        except BlockingIOError:
            return
        except OSError:
            piece = b""
        line += piece
        if line.endswith(b"\n") and len(line) <= MOST_BYTES:
            self._reply(connection, line)
        if piece and not line.endswith(b"\n") and len(line) <= MOST_BYTES:
            self._connections[connection] = (since_s, line)
        else:
            self._close(connection)

    def _reply(self, connection: socket.socket, line: bytes) -> None:
        try:
            asked = json.loads(line)
            reply = self._answer(str(asked["do"]), self._who(connection))
        except (ValueError, KeyError, TypeError, RecursionError):
            reply = {"ok": False, "text": 'send one JSON line: {"do": "stop"} or {"do": "holds"}'}
        with suppress(OSError):
            connection.send(json.dumps(reply).encode() + b"\n", socket.MSG_DONTWAIT | socket.MSG_NOSIGNAL)

    def _who(self, connection: socket.socket) -> str:
        """The name of the user at the other end, as users were known at the start."""
        user = peer_of(connection).user
        return self._names.get(user, f"user {user}")

    def _close(self, connection: socket.socket) -> None:
        del self._connections[connection]
        self._selector.unregister(connection)
        connection.close()
