"""The control socket: one JSON line in, one out. The folder's group is the access control.

`status` needs nothing of the keeper's loop, so that it works while that hangs; `stop` has the guard's own socket.
"""

import json
import pwd
import re
import socket
import struct
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from threading import BoundedSemaphore, Thread
from typing import Any

from waaler.core.facts import Amount
from waaler.core.messages import OrderKind
from waaler.guard.messages import Input
from waaler.keeper.lasting import Died, LastingThread

__all__ = ["MOST_BYTES", "ControlSocket", "Reply"]

MOST_BYTES = 4096
WAIT_S = 2.0
MOST_CONNECTIONS = 8

LONGEST_NOTE = 500
CHANNEL = re.compile(r"[a-z][a-z0-9-]{0,40}")
AMOUNTS = {
    "water": ("L", 0.0, 20_000.0),
    "solution": ("L", 0.0, 20_000.0),
    "sump": ("L", 0.0, 20_000.0),
    "EC": ("mS/cm", 0.0, 20.0),
    "pH": ("", 0.0, 14.0),
    "temperature": ("C", -10.0, 60.0),
    "run_back": ("s", 0.0, 14_400.0),
}
"""What may be entered: the unit, and what can be true at all."""

Reply = Mapping[str, object]


class ControlSocket(LastingThread):
    """status: gives the present state.

    order: hands an order to the keeper and waits for its answer. counts: of a sensor on a converter.
    channel: hears of a channel to people that fails, and why; None: it works again.
    """

    def __init__(
        self,
        path: Path,
        status: Callable[[], Reply],
        order: Callable[..., Reply],
        died: Died,
        counts: Callable[[str], float | None] | None = None,
        channel: Callable[[str, str | None], object] = lambda _, __: None,
    ) -> None:
        super().__init__("socket", died)
        self._counts, self._channel = counts, channel
        self._path, self._status, self._order = path, status, order
        self._slots = BoundedSemaphore(MOST_CONNECTIONS)
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
            if self._slots.acquire(blocking=False):
                Thread(target=self._serve, args=(connection,), name="socket answer", daemon=True).start()
            else:
                connection.close()

    def _open(self) -> socket.socket:
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            self._path.unlink(missing_ok=True)
            listener.bind(str(self._path))
            self._path.chmod(0o660)
            listener.listen(MOST_CONNECTIONS)
            self._inode = self._path.stat().st_ino
        except OSError:
            listener.close()
            raise
        self._listener = listener
        return listener

    def stop(self) -> None:
        self._ending.set()
        listener = self._listener
        if listener is not None:
            with suppress(OSError):
                listener.shutdown(socket.SHUT_RDWR)
            listener.close()
        with suppress(OSError):
            if self._path.stat().st_ino == self._inode:  # another daemon may have begun already
                self._path.unlink()

    def _serve(self, connection: socket.socket) -> None:
        with connection:
            try:
                connection.settimeout(WAIT_S)
                reply = self._answer(_read_line(connection), _who(connection))
                connection.sendall(json.dumps(dict(reply)).encode() + b"\n")
            except OSError:
                pass  # the other side went away; nothing is owed to it
            finally:
                self._slots.release()

    def _answer(self, line: bytes, who: str) -> Reply:
        try:
            asked = json.loads(line)
            what = asked["do"]
            seconds = float(asked.get("seconds", 0.0))
            litres = None if asked.get("litres") is None else float(asked["litres"])
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            return {"ok": False, "text": 'send one JSON line such as {"do": "status"}'}
        if what == "status":
            return self._status()
        if what == "counts":
            return self._tell_counts(str(asked.get("name", "")))
        if what == "channel":
            return self._note_channel(asked.get("name"), asked.get("reason"))
        if asked.get("is_remote") is True:
            who = f"{who}, by MQTT"
        try:
            kind = OrderKind(what)
        except ValueError:
            return {"ok": False, "text": f"no such order: {what}"}
        try:
            entry = _entry(asked)
        except (ValueError, KeyError, TypeError, AttributeError) as problem:
            return {"ok": False, "text": f"nothing entered: {problem}"}
        return self._order(kind, who, seconds, litres, **entry)

    def _note_channel(self, name: object, reason: object) -> Reply:
        is_text = reason is None or (
            isinstance(reason, str) and reason.isprintable() and len(reason) <= LONGEST_NOTE
        )
        if not isinstance(name, str) or not CHANNEL.fullmatch(name) or not is_text:
            return {"ok": False, "text": "a channel has a short name, and a reason of one line if it fails"}
        self._channel(name, None if reason is None else str(reason))
        return {"ok": True, "text": "noted"}

    def _tell_counts(self, name: str) -> Reply:
        try:
            counts = None if self._counts is None else self._counts(name)
        except KeyError:
            return {"ok": False, "text": f"'{name}' is on no converter"}
        if counts is None:
            return {"ok": False, "text": f"the converter gives no reading of {name}"}
        return {"ok": True, "text": f"{counts:g} counts", "counts": counts}


def _entry(asked: dict[str, Any]) -> dict[str, Any]:
    """The amounts and the text of an order that enters something; nothing of any other."""
    amounts = tuple(_amount(str(name), value) for name, value in asked.get("amounts", {}).items())
    text = str(asked.get("text", ""))
    if len(text) > LONGEST_NOTE or not text.isprintable():
        raise ValueError(f"a note is one line of at most {LONGEST_NOTE} letters")
    if asked["do"] in (OrderKind.NOTE, OrderKind.COMMISSION) and not text.strip():
        raise ValueError("the note is empty")
    if asked["do"] == OrderKind.MEASURE and not amounts:
        raise ValueError("nothing was measured")
    entry = {"amounts": amounts, "text": text.strip(), "is_renewal": asked.get("is_renewal") is True}
    entry["is_remote"] = asked.get("is_remote") is True
    wrong = asked.get("wrong_float")
    entry["wrong_float"] = None if wrong is None or asked["do"] != OrderKind.COMMISSION else Input(str(wrong))
    return {key: value for key, value in entry.items() if value}


def _amount(name: str, value: object) -> Amount:
    if name not in AMOUNTS:
        raise ValueError(f"'{name}' is none of {', '.join(AMOUNTS)}")
    unit, lowest, highest = AMOUNTS[name]
    number = float(str(value))
    if not lowest <= number <= highest:
        raise ValueError(f"{name} {number:g} is outside {lowest:g} to {highest:g} {unit}".rstrip())
    return Amount(name, number, unit)


def _read_line(connection: socket.socket) -> bytes:
    line = b""
    while not line.endswith(b"\n") and len(line) <= MOST_BYTES:
        piece = connection.recv(MOST_BYTES)
        if not piece:
            break
        line += piece
    if len(line) > MOST_BYTES:
        raise OSError("line too long")
    return line


def _who(connection: socket.socket) -> str:
    """The name of the user at the other end."""
    size = struct.calcsize("3i")
    _, uid, _ = struct.unpack("3i", connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, size))
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"user {uid}"
