"""Servers that answer anything: a delivery ends in time, in one of three ways, and no secret comes back."""

import random
import socket
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

from tests.notify.hostile import Hostile, Talk
from tests.notify.test_channels import ANN, hook, note

from waaler.notify import mail, webhook
from waaler.notify.channels import Refused
from waaler.notify.mail import MailChannel
from waaler.settings.messages import Mail

__all__ = ["servers"]

TOTAL_S = 1.0
MOST_S = 30.0
"""An end, not a speed: beside other work on the machine a second may last ten."""

SECRET = "S3CRETtoken"
PIECES = (
    b"HTTP/1.1 200 OK\r\n", b"HTTP/1.1 100 Continue\r\n\r\n", b"HTTP/1.1 500 no PATH\r\n", b"HTTP/1.1 302 x\r\nLocation: /",
    b"Content-Length: 99999999999999999999\r\n", b"Content-Length: -1\r\n", b"Transfer-Encoding: chunked\r\n\r\n", b"FFFFFFFFF\r\n",
    b"\r\n\r\n", b"220 hi\r\n", b"250 ok\r\n", b"250-", b"354 go\r\n", b"421 bye\r\n", b"550 no\r\n", b"\x1b[2J", b"\0", b"\xff\xfe",
    b"X" * 5000, b"Set-Cookie: a=" + b"b" * 70_000 + b"\r\n", b"\n",
)  # fmt: skip


def servers(chance: random.Random, _: Path) -> Iterator[str | None]:
    """What did not hold of each talk in turn."""
    for module in (mail, webhook):
        vars(module)["TOTAL_S"] = TOTAL_S
    while True:
        script = [
            (chance.choice((*PIECES, chance.randbytes(chance.randrange(40)))), chance.choice((0, 0, 0, 0.02)))
            for _n in range(chance.randrange(12))
        ]
        is_mail = chance.random() < 0.5
        with closing(Hostile(_talk(script, chance.random() < 0.7, ends=chance.random() < 0.8))) as server:
            yield _deliver(server.port, is_mail, script)


def _talk(script: list[tuple[bytes, float]], listens: bool, ends: bool) -> Talk:
    def talk(taken: socket.socket) -> None:
        taken.settimeout(0.2)
        for piece, pause_s in script:
            asked = b""
            if listens:
                with suppress(TimeoutError):
                    asked = taken.recv(65536)
            path = asked.split(b" ")[1] if asked.count(b" ") > 1 else b""
            taken.sendall(piece.replace(b"PATH", path))
            time.sleep(pause_s)
        if not ends:
            time.sleep(2 * TOTAL_S)

    return talk


def _deliver(port: int, is_mail: bool, script: object) -> str | None:
    began_s, reason = time.monotonic(), ""
    try:
        if is_mail:
            words = ("127.0.0.1", port, "none", "bed@example.org", note().severity, None, None, None)
            MailChannel(Mail(*words), [ANN]).send(note())
        else:
            hook(f"http://127.0.0.1:{port}/{SECRET}").send(note())
    except Refused as refusal:
        reason = str(refusal)
    except Exception as problem:
        return f"{script}: {type(problem).__name__}: {problem}"
    if time.monotonic() - began_s > MOST_S:
        return f"{script}: took {time.monotonic() - began_s:.1f} s"
    is_told_well = SECRET not in reason and reason.isprintable() and len(reason) <= 250
    return None if is_told_well else f"{script}: {reason!r}"
