"""The control socket: small, patient, and alive while the keeper hangs."""

import getpass
import json
import os
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from tests.keeper.process import until

from waaler.core.facts import Amount
from waaler.core.messages import OrderKind
from waaler.guard.messages import Input
from waaler.keeper.control import MOST_BYTES, MOST_CONNECTIONS, ControlSocket
from waaler.keeper.door import Request, Room
from waaler.notify.asking import ask


class Behind:
    """What stands behind the socket; `is_hung` makes the keeper answer nothing."""

    def __init__(self) -> None:
        self.channels: list[tuple[str, str | None]] = []
        self.orders: list[Request] = []
        self.notifiers: set[int] = set()

    def order(self, request: Request) -> dict[str, Any]:
        self.orders.append(request)
        return {"ok": True, "text": "done"}


@pytest.fixture
def behind() -> Behind:
    return Behind()


@pytest.fixture
def path(tmp_path: Path, behind: Behind) -> Iterator[Path]:
    path = tmp_path / "bed.sock"
    server = ControlSocket(
        path,
        lambda: {"ok": True, "state": "waiting"},
        behind.order,
        lambda *_: None,
        lambda: Room(100.0),
        channel=lambda name, reason: behind.channels.append((name, reason)),
        is_notifier=lambda peer: peer.process in behind.notifiers,
    )
    server.start()
    yield path
    server.stop()
    server.join(timeout=5)
    assert not path.exists()


def send(path: Path, data: bytes) -> bytes:
    with socket.socket(socket.AF_UNIX) as talk:
        talk.settimeout(5)
        talk.connect(str(path))
        talk.sendall(data)
        talk.shutdown(socket.SHUT_WR)
        return talk.recv(MOST_BYTES)


@pytest.mark.parametrize(
    "line",
    [b"\n", b"[" * 4000 + b"\n", b"{}\n", b"[1]\n", b"stop\n", b"\xff\n"],
)
def test_nonsense_is_answered_with_what_to_send(path: Path, line: bytes) -> None:
    assert json.loads(send(path, line)) == {"ok": False, "text": 'send one JSON line such as {"do": "status"}'}


def test_an_order_that_is_not_known_is_named(path: Path) -> None:
    assert ask(path, {"do": "dance"})["text"] == "no such order: dance"


def test_a_line_that_is_too_long_is_dropped(path: Path, behind: Behind) -> None:
    try:
        answer = send(path, b'{"do": "stop", "x": "' + b"y" * 2 * MOST_BYTES + b'"}\n')
    except OSError:
        answer = b""

    assert answer == b""
    assert behind.orders == []


def test_an_order_comes_with_the_name_of_who_gave_it(path: Path, behind: Behind) -> None:
    ask(path, {"do": "water", "seconds": 90})

    assert behind.orders == [Request(OrderKind.WATER, getpass.getuser(), 90.0)]


def test_status_asks_no_keeper(path: Path, behind: Behind) -> None:
    assert ask(path, {"do": "status"})["state"] == "waiting"
    assert behind.orders == []


def test_a_channel_that_fails_is_noted_and_nonsense_about_one_is_not(path: Path, behind: Behind) -> None:
    for name, reason in (
        ("Mail", "x"),
        ("mail", "two\nlines"),
        ("mail", 7),
        ("", None),
        (None, None),
        ("m", "x" * 501),
    ):
        assert not ask(path, {"do": "channel", "name": name, "reason": reason})["ok"]

    assert ask(path, {"do": "channel", "name": "mail", "reason": "away"})["ok"]
    assert ask(path, {"do": "channel", "name": "mail", "reason": None})["ok"]
    assert behind.channels == [("mail", "away"), ("mail", None)]
    assert behind.orders == []


def test_an_order_that_came_over_the_broker_is_marked_as_such(path: Path, behind: Behind) -> None:
    ask(path, {"do": "pause", "seconds": 60, "is_remote": True})

    by = f"{getpass.getuser()}, by MQTT"
    assert behind.orders == [Request(OrderKind.PAUSE, by, 60.0, is_remote=True)]


@pytest.mark.parametrize("said", [{}, {"is_remote": False}])
def test_what_the_notifier_orders_comes_from_afar_whatever_it_says_of_itself(
    path: Path, behind: Behind, said: dict[str, Any]
) -> None:
    behind.notifiers.add(os.getpid())

    ask(path, {"do": "clear", **said})

    assert behind.orders == [Request(OrderKind.CLEAR, f"{getpass.getuser()}, by MQTT", is_remote=True)]


def test_a_flood_of_channels_ends_at_twelve(path: Path, behind: Behind) -> None:
    answers = [ask(path, {"do": "channel", "name": f"a{n}", "reason": "x"})["ok"] for n in range(14)]
    ask(path, {"do": "channel", "name": "a0", "reason": None})

    assert answers == [True] * 12 + [False] * 2
    assert ask(path, {"do": "channel", "name": "mail", "reason": "x"})["ok"]
    assert len(behind.channels) == 14


def test_idle_connections_do_not_keep_others_out_for_long(path: Path) -> None:
    idle = [socket.socket(socket.AF_UNIX) for _ in range(7)]
    for talk in idle:
        talk.connect(str(path))
    try:
        assert ask(path, {"do": "status"}, 5.0)["ok"]
    finally:
        for talk in idle:
            talk.close()


def test_what_is_entered_is_handed_on_with_its_units(path: Path, behind: Behind) -> None:
    ask(path, {"do": "measure", "amounts": {"EC": 1.8, "pH": 5.9}})
    ask(path, {"do": "note", "text": " aphids on pot 3 "})
    ask(path, {"do": "commission", "text": "the floats are swapped", "wrong_float": "sump_low"})

    measured, noted, found = behind.orders
    assert measured.amounts == (Amount("EC", 1.8, "mS/cm"), Amount("pH", 5.9, ""))
    assert noted.text == "aphids on pot 3"
    assert found.wrong_float is Input.SUMP_LOW


def test_clients_that_dribble_keep_nobody_out_and_are_hung_up_on(path: Path) -> None:
    dribbling = [socket.socket(socket.AF_UNIX) for _ in range(MOST_CONNECTIONS)]
    for talk in dribbling:
        talk.connect(str(path))
        talk.sendall(b"{")
    begun_s = time.monotonic()

    assert ask(path, {"do": "status"}, 1.0)["ok"]
    while any(_is_open(talk) for talk in dribbling):
        assert time.monotonic() - begun_s < 4.0, "a byte now and then keeps a connection for ever"
        never.wait(0.3)
    for talk in dribbling:
        talk.close()


never = Event()


def _is_open(talk: socket.socket) -> bool:
    """Sends one more byte; whether the other side still takes it."""
    try:
        talk.sendall(b" ")
    except OSError:
        return False
    return True


def test_whatever_goes_wrong_with_the_socket_it_is_opened_anew(tmp_path: Path, behind: Behind) -> None:
    path, deaths = tmp_path / "b.sock", []
    server = ControlSocket(
        path, lambda: {"ok": True}, behind.order, lambda name, problem: deaths.append(name), lambda: Room(100.0)
    )
    server.start()
    until(lambda: path.exists(), "the socket")
    assert server._listener is not None
    server._listener.shutdown(socket.SHUT_RDWR)
    until(lambda: deaths, "its end")

    until(lambda: path.exists() and _answers(path), "an answer")
    server.stop()


def _answers(path: Path) -> bool:
    try:
        return bool(ask(path, {"do": "status"})["ok"])
    except (OSError, ValueError):
        return False
