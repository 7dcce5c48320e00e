"""Speaks to the daemon over its control socket: one JSON line out, one back."""

import json
import socket
from pathlib import Path
from typing import Any

__all__ = ["NO_ANSWER", "ask", "ask_status"]

WAIT_S = 2.0
MOST_BYTES = 65_536
NO_ANSWER = {"state": "no answer"}


def ask(path: Path, order: dict[str, Any], wait_s: float = WAIT_S) -> dict[str, Any]:
    """The daemon's answer to one order. Raises OSError when it is away or hangs, ValueError for nonsense."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as talk:
        talk.settimeout(wait_s)
        talk.connect(str(path))
        talk.sendall(json.dumps(order).encode() + b"\n")
        answer = json.loads(_line(talk))
    if not isinstance(answer, dict):
        raise ValueError("the answer is no JSON object")
    return answer


def ask_status(path: Path) -> dict[str, Any]:
    """The daemon's status, or NO_ANSWER when it is away, hangs or talks nonsense."""
    try:
        answer = ask(path, {"do": "status"})
    except (OSError, ValueError):
        return dict(NO_ANSWER)
    return answer if "state" in answer else dict(NO_ANSWER)


def _line(talk: socket.socket) -> bytes:
    line = b""
    while not line.endswith(b"\n") and len(line) <= MOST_BYTES:
        piece = talk.recv(4096)
        if not piece:
            break
        line += piece
    return line
