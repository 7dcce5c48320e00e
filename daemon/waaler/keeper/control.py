"""The control socket: one JSON line in, one out. The folder's group is the access control; `door` judges orders.

`status` needs nothing of the keeper's loop, so that it works while that hangs; `stop` has the guard's own socket.
"""

import json
import pwd
import re
import socket
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from threading import Lock, Thread

from waaler.devices.local_socket import Peer, listen, peer_of, unlink_own
from waaler.keeper.changes import Changes
from waaler.keeper.door import NotAdmitted, Request, Room, admitted
from waaler.keeper.lasting import Died, LastingThread

__all__ = ["MOST_BYTES", "ControlSocket", "Reply"]

MOST_BYTES = 4096
WITHIN_S = 2.0
"""To say what is wanted, and again to take the answer, however it is dealt out."""

MOST_CONNECTIONS = 8
MOST_CHANNELS = 12
"""That fail at one time; a file can name seven."""

LONGEST_REASON = 500
CHANNEL = re.compile(r"[a-z][a-z0-9-]{0,40}")
NONSENSE = 'send one JSON line such as {"do": "status"}'

Reply = Mapping[str, object]


class ControlSocket(LastingThread):
    """status: gives the present state.

    order: hands an order to the keeper and waits for its answer. counts: of a sensor on a converter.
    channel: hears of a channel to people that fails, and why; None: it works again. room: what the bed can hold.
    is_notifier: whether a peer is the one that speaks to networks; whatever it says, its orders come from afar.
    changes: takes over whoever waits for the next one.
    """

    def __init__(
        self,
        path: Path,
        status: Callable[[], Reply],
        order: Callable[[Request], Reply],
        died: Died,
        room: Callable[[], Room],
        counts: Callable[[str], float | None] | None = None,
        channel: Callable[[str, str | None], object] = lambda _, __: None,
        is_notifier: Callable[[Peer], bool] = lambda _: False,
        changes: Changes | None = None,
    ) -> None:
        super().__init__("socket", died)
        self._changes = changes
        self._counts, self._channel, self._is_notifier, self._room = counts, channel, is_notifier, room
        self._path, self._status, self._order = path, status, order
        self._connections = _Connections()
        self._failing: set[str] = set()
        self._listener: socket.socket | None = None
        self._inode = 0
        with suppress(OSError):
            self._open()

    def work(self) -> None:
        """Answers until it is told to end; whatever goes wrong, the socket is opened anew."""
        listener = self._listener or self._open()
        while not self._ending.is_set():
            try:
                connection, _ = listener.accept()
            except OSError:
                listener.close()
                self._listener = None
                if self._ending.is_set():
                    return
                raise
            if self._connections.take(connection):
                Thread(target=self._serve, args=(connection,), name="socket answer", daemon=True).start()
            else:
                connection.close()

    def _open(self) -> socket.socket:
        self._listener, self._inode = listen(self._path, MOST_CONNECTIONS)
        return self._listener

    def stop(self) -> None:
        self._ending.set()
        listener = self._listener
        if listener is not None:
            with suppress(OSError):
                listener.shutdown(socket.SHUT_RDWR)
            listener.close()
        with suppress(OSError):
            unlink_own(self._path, self._inode)

    def _serve(self, connection: socket.socket) -> None:
        with connection:
            try:
                line = _read_line(connection)
                self._connections.has_asked(connection)
                reply = self._answer(line, connection)
                connection.settimeout(WITHIN_S)  # for the whole of what follows
                if reply is not None:
                    connection.sendall(json.dumps(dict(reply)).encode() + b"\n")
            except OSError:
                pass  # the other side went away; nothing is owed to it
            finally:
                self._connections.let_go(connection)

    def _answer(self, line: bytes, connection: socket.socket) -> Reply | None:
        """None: it comes later, from somebody else. Raises OSError."""
        try:
            asked = json.loads(line)
        except (ValueError, RecursionError):
            return _no(NONSENSE)
        if not isinstance(asked, dict) or "do" not in asked:
            return _no(NONSENSE)
        peer = peer_of(connection)
        match asked["do"]:
            case "status":
                return self._status()
            case "wait":
                return self._wait(asked.get("since"), connection, self._is_notifier(peer))
            case "counts":
                return self._tell_counts(asked.get("name"))
            case "channel":
                return self._note_channel(asked.get("name"), asked.get("reason"))
        try:
            request = admitted(asked, _name_of(peer.user), self._is_notifier(peer), self._room())
        except NotAdmitted as problem:
            return {**_no(str(problem)), "is_doubtful": problem.is_doubtful}
        return self._order(request)

    def _wait(self, since: object, connection: socket.socket, is_notifier: bool) -> Reply | None:
        """For the next change; the connection goes on in other hands."""
        if not isinstance(since, int) or isinstance(since, bool) or self._changes is None:
            return _no("say since which change you wait, such as 0")
        own = connection.dup()
        if self._changes.wait(own, since, is_notifier):
            return None
        own.close()
        return _no("too many wait already")

    def _note_channel(self, name: object, reason: object) -> Reply:
        is_text = reason is None or (
            isinstance(reason, str) and reason.isprintable() and len(reason) <= LONGEST_REASON
        )
        if not isinstance(name, str) or not CHANNEL.fullmatch(name) or not is_text:
            return _no("a channel has a short name, and a reason of one line if it fails")
        if reason is None:
            self._failing.discard(name)
        elif len(self._failing | {name}) > MOST_CHANNELS:
            return _no(f"{MOST_CHANNELS} channels fail already")
        else:
            self._failing.add(name)
        self._channel(name, None if reason is None else str(reason))
        return {"ok": True, "text": "noted"}

    def _tell_counts(self, name: object) -> Reply:
        if not isinstance(name, str) or self._counts is None:
            return _no("name a sensor on a converter")
        try:
            counts = self._counts(name)
        except KeyError:
            return _no(f"'{name[:40]}' is on no converter")
        if counts is None:
            return _no(f"the converter gives no reading of {name}")
        return {"ok": True, "text": f"{counts:g} counts", "counts": counts}


class _Connections:
    """Those in hand. Where all places are taken, the oldest that has not said what it wants makes room.

    So clients that dribble keep nobody out.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._reading: list[socket.socket] = []
        self._answering: set[socket.socket] = set()

    def take(self, connection: socket.socket) -> bool:
        with self._lock:
            if len(self._reading) + len(self._answering) >= MOST_CONNECTIONS:
                if not self._reading:
                    return False
                with suppress(OSError):
                    self._reading.pop(0).shutdown(socket.SHUT_RDWR)
            self._reading.append(connection)
            return True

    def has_asked(self, connection: socket.socket) -> None:
        """Raises OSError where it had to make room."""
        with self._lock:
            if connection not in self._reading:
                raise OSError("it had to make room")
            self._reading.remove(connection)
            self._answering.add(connection)

    def let_go(self, connection: socket.socket) -> None:
        with self._lock:
            self._answering.discard(connection)
            if connection in self._reading:
                self._reading.remove(connection)


def _no(text: str) -> Reply:
    return {"ok": False, "text": text}


def _read_line(connection: socket.socket) -> bytes:
    end_s, line = time.monotonic() + WITHIN_S, b""
    while not line.endswith(b"\n") and len(line) <= MOST_BYTES:
        left_s = end_s - time.monotonic()
        if left_s <= 0:
            raise TimeoutError
        connection.settimeout(left_s)
        piece = connection.recv(MOST_BYTES)
        if not piece:
            break
        line += piece
    if len(line) > MOST_BYTES:
        raise OSError("line too long")
    return line


def _name_of(user: int) -> str:
    try:
        return pwd.getpwuid(user).pw_name
    except KeyError:
        return f"user {user}"
