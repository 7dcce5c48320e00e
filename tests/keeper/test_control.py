"""The control socket: small, patient, and alive while the keeper hangs."""

import getpass
import json
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.keeper.process import until

from waaler.core.facts import Amount
from waaler.core.messages import OrderKind
from waaler.guard.messages import Input
from waaler.keeper.control import MOST_BYTES, ControlSocket
from waaler.notify.asking import ask


class Behind:
    """What stands behind the socket; `is_hung` makes the keeper answer nothing."""

    def __init__(self) -> None:
        self.channels: list[tuple[str, str | None]] = []
        self.entries: list[dict[str, object]] = []
        self.orders: list[tuple[OrderKind, str, float, float | None]] = []

    def order(
        self, kind: OrderKind, who: str, seconds: float, litres: float | None, **entry: object
    ) -> dict[str, Any]:
        self.orders.append((kind, who, seconds, litres))
        self.entries.append(entry)
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
        channel=lambda name, reason: behind.channels.append((name, reason)),
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
    [b"\n", b"[" * 4000 + b"\n", b"{}\n", b"[1]\n", b"stop\n", b'{"do": "water", "seconds": "x"}\n', b"\xff\n"],
)
def test_nonsense_is_answered_with_what_to_send(path: Path, line: bytes) -> None:
    assert json.loads(send(path, line)) == {"ok": False, "text": 'send one JSON line such as {"do": "status"}'}


def test_an_order_that_is_not_known_is_named(path: Path) -> None:
    assert ask(path, {"do": "dance"}) == {"ok": False, "text": "no such order: dance"}


def test_a_line_that_is_too_long_is_dropped(path: Path, behind: Behind) -> None:
    try:
        answer = send(path, b'{"do": "stop", "x": "' + b"y" * 2 * MOST_BYTES + b'"}\n')
    except OSError:
        answer = b""

    assert answer == b""
    assert behind.orders == []


def test_an_order_comes_with_the_name_of_who_gave_it(path: Path, behind: Behind) -> None:
    ask(path, {"do": "water", "seconds": 90})

    assert behind.orders == [(OrderKind.WATER, getpass.getuser(), 90.0, None)]


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

    assert behind.orders == [(OrderKind.PAUSE, f"{getpass.getuser()}, by MQTT", 60.0, None)]
    assert behind.entries == [{"is_remote": True}]


def test_idle_connections_do_not_keep_others_out_for_long(path: Path) -> None:
    idle = [socket.socket(socket.AF_UNIX) for _ in range(7)]
    for talk in idle:
        talk.connect(str(path))
    try:
        assert ask(path, {"do": "status"}, 5.0)["ok"]
    finally:
        for talk in idle:
            talk.close()


@pytest.mark.parametrize(
    ("order", "text"),
    [
        ({"do": "measure"}, "nothing entered: nothing was measured"),
        ({"do": "measure", "amounts": {"pH": 15}}, "nothing entered: pH 15 is outside 0 to 14"),
        ({"do": "measure", "amounts": {"pH": "nan"}}, "nothing entered: pH nan is outside 0 to 14"),
        (
            {"do": "measure", "amounts": {"ph": 6}},
            "nothing entered: 'ph' is none of water, solution, sump, EC, pH, temperature, run_back",
        ),
        ({"do": "commission", "text": "a", "wrong_float": "x"}, "nothing entered: 'x' is not a valid Input"),
        ({"do": "note", "text": " "}, "nothing entered: the note is empty"),
        ({"do": "note", "text": "a\nb"}, "nothing entered: a note is one line of at most 500 letters"),
        ({"do": "note", "text": "a" * 501}, "nothing entered: a note is one line of at most 500 letters"),
    ],
)
def test_an_entry_that_makes_no_sense_is_refused(
    path: Path, behind: Behind, order: dict[str, Any], text: str
) -> None:
    assert ask(path, order) == {"ok": False, "text": text}
    assert behind.orders == []


def test_what_is_entered_is_handed_on_with_its_units(path: Path, behind: Behind) -> None:
    ask(path, {"do": "measure", "amounts": {"EC": 1.8, "pH": 5.9}})
    ask(path, {"do": "note", "text": " aphids on pot 3 ", "wrong_float": "sump_low"})
    ask(path, {"do": "commission", "text": "the floats are swapped", "wrong_float": "sump_low"})

    assert behind.entries == [
        {"amounts": (Amount("EC", 1.8, "mS/cm"), Amount("pH", 5.9, ""))},
        {"text": "aphids on pot 3"},
        {"text": "the floats are swapped", "wrong_float": Input.SUMP_LOW},
    ]


def test_whatever_goes_wrong_with_the_socket_it_is_opened_anew(tmp_path: Path, behind: Behind) -> None:
    path, deaths = tmp_path / "b.sock", []
    server = ControlSocket(path, lambda: {"ok": True}, behind.order, lambda name, problem: deaths.append(name))
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
