"""Bytes from outside: the guard's journal, the control socket, orders over the broker, text for a terminal."""

import json
import random
import re
import socket
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from math import inf, nan
from pathlib import Path
from typing import Any

from tests.guard.test_journal import BOTH, NEW, OLD
from tests.keeper.test_control import Behind
from tests.keeper.test_door import ROOM
from tests.notify.test_commands import NOW_S, expires

from waaler.core.messages import OrderKind
from waaler.guard import journal
from waaler.guard.journal import Health
from waaler.keeper.control import MOST_BYTES, ControlSocket
from waaler.keeper.door import NotAdmitted, admitted
from waaler.notify.commands import ALLOWED, Command, judge
from waaler.visible import visible

__all__ = ["journals", "orders", "remote_orders", "shown", "sockets"]

ODD: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 1.5, 10**400, -(2**63), nan, inf, -inf, "", "x", "\x1b[2J", "\ud800", "9" * 400, "1e400",
    [], {}, [[]], [None] * 50, {"a": 1},
)  # fmt: skip


STEERING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufeff\U000e0001\U000e0020-\U000e007f]"
)
"""Source: C0 and C1 of ECMA-48, the directional characters of Unicode's UAX 9, its tags and separators."""


def journals(chance: random.Random, _: Path) -> Iterator[str | None]:
    """What is believed of a damaged journal was once written, and its loss is known."""
    while True:
        data = bytearray(BOTH)
        for _n in range(chance.choice((1, 1, 2, 8))):
            begin, length = chance.randrange(len(data) or 1), chance.choice((0, 1, 3, 40))
            data[begin : begin + length] = chance.randbytes(chance.choice((0, 1, 3, 40)))
        found = journal.read(bytes(data), "terrace")
        is_believed = found.memory in (OLD, NEW) or found.health is not Health.WHOLE
        is_newest = found.memory == NEW or found.health is not Health.WHOLE or not data
        yield None if is_believed and is_newest else f"{found.health}: {bytes(data)!r}"


def orders(chance: random.Random, _: Path) -> Iterator[str | None]:
    """Whatever JSON says, it is refused or becomes an order within bounds."""
    keys = ("do", "seconds", "text", "is_renewal", "is_remote", "is_sure", "amounts", "litres", "x")
    while True:
        asked = {key: _odd(chance) for key in keys if chance.random() < 0.4}
        if chance.random() < 0.9:
            asked["do"] = chance.choice([*OrderKind])
        if chance.random() < 0.5:
            asked["amounts"] = {
                name: _odd(chance) for name in ("water", "sump", "pH", "EC") if chance.random() < 0.5
            }
        try:
            request = admitted(asked, "ann", chance.random() < 0.5, ROOM)
        except NotAdmitted as problem:
            yield None if str(problem).isprintable() else f"{asked}: {problem!r}"
            continue
        is_sane = request.seconds == 0 or 1 <= request.seconds <= 172_800
        is_sane &= all(-10 <= amount.value <= 20_000 for amount in request.amounts) and len(request.text) <= 500
        yield None if is_sane else f"{asked}: {request}"


def remote_orders(chance: random.Random, _: Path) -> Iterator[str | None]:
    """No message over the broker raises, or becomes more than an allowed order of the present."""
    while True:
        told: Any = {
            "id": "a-1",
            "do": chance.choice([*ALLOWED, "release"]),
            "expires": expires(chance.uniform(-90, 90)),
        }
        for key in ("id", "do", "expires", "seconds", "alert", "more"):
            if chance.random() < 0.2:
                told[key] = _odd(chance)
        payload = json.dumps(told).encode("utf-8", "replace")
        if chance.random() < 0.5:
            payload = _damaged(chance, payload)
        found = judge(payload, chance.random() < 0.1, NOW_S)
        if not isinstance(found, Command):
            yield None
            continue
        left_s = datetime.fromisoformat(json.loads(payload)["expires"]).timestamp() - NOW_S
        is_sane = found.do in ALLOWED and 0 < left_s <= 60.0 and found.order()["is_remote"] is True
        yield None if is_sane else repr(payload)


def sockets(chance: random.Random, folder: Path) -> Iterator[str | None]:
    """A whole line is answered; whatever a client says, or leaves unsaid, so is the next one."""
    path, behind = folder / "bed.sock", Behind()
    deaths: list[str] = []
    server = ControlSocket(
        path,
        lambda: {"ok": True},
        behind.order,
        lambda name, problem: deaths.append(f"{name}: {problem!r}"),
        lambda: ROOM,
        channel=lambda name, reason: behind.channels.append((name, reason)),
        is_notifier=lambda _: False,
    )
    server.start()
    try:
        while not path.exists():
            server.join(0.01)
        while True:
            said, is_heard = _said(chance), chance.random() < 0.8
            told = b""
            with suppress(OSError):
                told = _talk(path, said, is_heard)
            is_line = said.find(b"\n") == len(said) - 1 and 1 < len(said) <= MOST_BYTES
            is_answered = not (is_heard and is_line) or "ok" in json.loads(told or b"{}")
            answer = _talk(path, b'{"do":"status"}\n')
            is_right = is_answered and not deaths and json.loads(answer or b"{}").get("ok") is True
            yield None if is_right else f"{said[:300]!r}: {deaths or (told, answer)}"
            deaths.clear()
    finally:
        server.stop()
        server.join(5.0)


def shown(chance: random.Random, _: Path) -> Iterator[str | None]:
    """Text from outside is shown, never obeyed."""
    steering = "\x1b[]0;P\x07\x9b\x00\r\n\b\x7f\u202e\u2066\u2028\ufeff\U000e0041\ud800"
    while True:
        text = "".join(
            chance.choice((chance.choice(steering), chr(chance.randrange(0x11_0000)), "a"))
            for _n in range(chance.randrange(60))
        )
        told = visible(text)
        yield f"{text!r}: {told!r}" if STEERING.search(told.replace("\r\n", "\n")) else None


def _odd(chance: random.Random) -> Any:
    value = chance.choice(ODD)
    return chance.uniform(-1e6, 1e6) if value == 1.5 else value


def _damaged(chance: random.Random, data: bytes) -> bytes:
    changed = bytearray(data)
    begin = chance.randrange(len(changed) + 1)
    changed[begin : begin + chance.choice((0, 1, 5))] = chance.randbytes(chance.choice((0, 1, 5)))
    return bytes(changed)


def _said(chance: random.Random) -> bytes:
    kind = chance.randrange(4)
    if kind == 0:
        return chance.randbytes(chance.choice((0, 1, 50, MOST_BYTES, 3 * MOST_BYTES)))
    if kind == 1:
        return b"[" * chance.randrange(MOST_BYTES) + b"\n"
    asked = {key: _odd(chance) for key in ("do", "seconds", "text", "name", "reason", "amounts")}
    asked["do"] = chance.choice([*OrderKind, "status", "channel", "counts", _odd(chance)])
    line = json.dumps(asked).encode("utf-8", "replace") + b"\n"
    return line if kind == 2 else _damaged(chance, line)


def _talk(path: Path, data: bytes, is_heard: bool = True) -> bytes:
    """The answer's first bytes; nothing for a client that hangs up at once."""
    with socket.socket(socket.AF_UNIX) as talk:
        talk.settimeout(60.0)  # an end, not a speed
        talk.connect(str(path))
        talk.sendall(data)
        talk.shutdown(socket.SHUT_WR)
        return talk.recv(MOST_BYTES) if is_heard else b""
