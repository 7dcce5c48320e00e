"""The guard's own socket: nothing waits for whoever is at the other end."""

import getpass
import json
import socket
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from selectors import DefaultSelector
from typing import Any

import pytest

from waaler.guard_process.orders import MOST_BYTES, MOST_CONNECTIONS, OrderSocket


class Loop:
    """Turns the socket's events over, by a clock of its own."""

    def __init__(self, path: Path) -> None:
        self.path, self.now_s = path, 100.0
        self.asked: list[tuple[str, str]] = []
        self.selector = DefaultSelector()
        self.socket = OrderSocket(path, self.selector, self._answer)
        self.socket.look(self.now_s)

    def _answer(self, asked: str, who: str) -> dict[str, Any]:
        self.asked.append((asked, who))
        return {"ok": True, "text": asked}

    def turn(self) -> None:
        for _ in range(20):
            for key, _ in self.selector.select(0.0):
                if key.fd in self.selector.get_map():
                    key.data(self.now_s)

    def connect(self) -> socket.socket:
        talk = socket.socket(socket.AF_UNIX)
        talk.settimeout(5)
        talk.connect(str(self.path))
        self.turn()
        return talk

    def send(self, data: bytes) -> bytes:
        with closing(self.connect()) as talk:
            talk.sendall(data)
            self.turn()
            return talk.recv(4096)


@pytest.fixture
def loop(tmp_path: Path) -> Iterator[Loop]:
    found = Loop(tmp_path / "bed.guard.sock")
    yield found
    found.socket.close()
    assert not found.path.exists()


@pytest.mark.parametrize(
    "line", [b"\n", b"stop\n", b"[]\n", b'{"ask": "stop"}\n', b"\xff\xfe\n", b"[" * 900 + b"\n"]
)
def test_nonsense_is_answered_with_what_to_send(loop: Loop, line: bytes) -> None:
    assert b"send one JSON line" in loop.send(line)
    assert loop.asked == []


def test_a_line_that_is_too_long_is_dropped(loop: Loop) -> None:
    assert loop.send(b"x" * (MOST_BYTES + 1)) == b""


def test_an_order_comes_with_the_name_of_who_gave_it(loop: Loop) -> None:
    assert json.loads(loop.send(b'{"do": "stop"}\n')) == {"ok": True, "text": "stop"}
    assert loop.asked == [("stop", getpass.getuser())]


def test_clients_that_dribble_keep_nobody_out(loop: Loop) -> None:
    """More than there are places for: the oldest makes room, and after two seconds all are closed."""
    idle = [loop.connect() for _ in range(3 * MOST_CONNECTIONS)]
    for talk in idle[-MOST_CONNECTIONS:]:
        talk.sendall(b'{"do"')
    loop.turn()

    assert b"stop" in loop.send(b'{"do": "stop"}\n')
    loop.now_s += 2.1
    loop.socket.look(loop.now_s)
    assert all(talk.recv(10) == b"" for talk in idle)
    for talk in idle:
        talk.close()


def test_a_failed_accept_is_tried_again_at_the_next_look(loop: Loop, monkeypatch: pytest.MonkeyPatch) -> None:
    accept: Callable[..., Any] = socket.socket.accept

    def full(_: socket.socket) -> None:
        raise OSError(24, "Too many open files")

    monkeypatch.setattr(socket.socket, "accept", full)
    with closing(socket.socket(socket.AF_UNIX)) as talk:
        talk.connect(str(loop.path))
        loop.turn()
        monkeypatch.setattr(socket.socket, "accept", accept)
        loop.socket.look(loop.now_s)
        talk.sendall(b'{"do": "stop"}\n')
        loop.turn()

        talk.settimeout(5)
        assert b"stop" in talk.recv(100)
