"""Speaks to the daemon over its control socket: one JSON line out, one back."""

import json
import socket
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from waaler.core.status import BedState, Status, status_of

__all__ = ["ask", "ask_status"]

WAIT_S = 2.0
MOST_BYTES = 65_536
NO_ANSWER = Status(BedState.NO_ANSWER)


def ask(path: Path, order: Mapping[str, object], wait_s: float = WAIT_S) -> dict[str, Any]:
    """The daemon's answer to one order. Raises OSError when it is away or hangs, ValueError for nonsense.

    wait_s: for the whole answer, however it is dealt out.
    """
    end_s = time.monotonic() + wait_s
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as talk:
        talk.settimeout(wait_s)
        talk.connect(str(path))
        talk.sendall(json.dumps(dict(order)).encode() + b"\n")
        answer = json.loads(_line(talk, end_s))
    if not isinstance(answer, dict):
        raise ValueError("the answer is no JSON object")
    return answer


def ask_status(path: Path) -> Status:
    """The daemon's status; its state alone, `no answer`, when it is away, hangs or talks nonsense."""
    try:
        return status_of(ask(path, {"do": "status"}))
    except (OSError, ValueError):
        return NO_ANSWER


def _line(talk: socket.socket, end_s: float) -> bytes:
    line = b""
    while not line.endswith(b"\n") and len(line) <= MOST_BYTES:
        left_s = end_s - time.monotonic()
        if left_s <= 0:
            raise TimeoutError
        talk.settimeout(left_s)
        piece = talk.recv(4096)
        if not piece:
            break
        line += piece
    return line
