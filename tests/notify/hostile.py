"""Servers on loopback that answer as none should."""

import socket
import ssl
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

__all__ = ["Hostile", "Talk", "mail_talk", "web_talk"]

Talk = Callable[[socket.socket], None]
DRIP_S = 0.05


class Hostile:
    """Hands each connection to `talk`, in a thread of its own. certificate: with TLS from the first byte."""

    def __init__(self, talk: Talk, certificate: Path | None = None) -> None:
        self._talk, self._context = talk, None
        if certificate is not None:
            self._context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            self._context.load_cert_chain(f"{certificate}.pem", f"{certificate}.key")
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while True:
            try:
                taken, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._answer, args=(taken,), daemon=True).start()

    def _answer(self, taken: socket.socket) -> None:
        with suppress(OSError), taken:
            if self._context is None:
                self._talk(taken)
            else:
                with self._context.wrap_socket(taken, server_side=True) as inner:
                    self._talk(inner)

    def close(self) -> None:
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()


def web_talk(first: bytes, then: bytes = b"", pause_s: float = 0.0, echoes: bool = False) -> Talk:
    """Says `first` once the request is there, then `then` for ever. echoes: the request's path in the reason."""

    def talk(taken: socket.socket) -> None:
        asked = b""
        while b"\r\n\r\n" not in asked:
            piece = taken.recv(65536)
            if not piece:
                return  # somebody who only knocked
            asked += piece
        path = asked.split(b" ")[1]
        taken.sendall(first.replace(b"PATH", path) if echoes else first)
        while then:
            taken.sendall(then)
            time.sleep(pause_s)

    return talk


def mail_talk(answers: dict[str, bytes], taken_bodies: list[bytes], endless: str = "") -> Talk:
    """A mail server that says what `answers` has for a verb, with the last AUTH line for AUTHLINE; else 250.

    endless: the verb whose answer never ends.
    """

    def talk(connection: socket.socket) -> None:
        read = connection.makefile("rb")
        said_auth = b""
        connection.sendall(answers.get("HELLO", b"220 hi\r\n"))
        while line := read.readline():
            verb = line.split()[0].decode("ascii", "replace").upper() if line.split() else ""
            if verb == "AUTH":
                said_auth = line.strip()
            while verb == endless:
                connection.sendall(b"250-" + b"x" * 500 + b"\r\n")
            if verb == "DATA":
                connection.sendall(b"354 go\r\n")
                body = b""
                while not body.endswith(b"\r\n.\r\n"):
                    body += read.readline()
                taken_bodies.append(body)
            usual = b"250-x\r\n250-AUTH PLAIN LOGIN\r\n250 SIZE\r\n" if verb == "EHLO" else b"250 ok\r\n"
            answer = answers.get(verb, usual).replace(b"AUTHLINE", said_auth)
            if not answer:
                return
            connection.sendall(answer)

    return talk
