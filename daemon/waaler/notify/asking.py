"""Asks the daemon for its status over the control socket: one JSON line in, one out."""

import json
import socket
from pathlib import Path
from typing import Any

__all__ = ["NO_ANSWER", "ask_status"]

WAIT_S = 2.0
MOST_BYTES = 65_536
NO_ANSWER = {"state": "no answer"}


def ask_status(path: Path) -> dict[str, Any]:
    """The daemon's status, or NO_ANSWER when it is away, hangs or talks nonsense."""
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as talk:
            talk.settimeout(WAIT_S)
            talk.connect(str(path))
            talk.sendall(b'{"do": "status"}\n')
            answer = json.loads(_line(talk))
    except (OSError, ValueError):
        return dict(NO_ANSWER)
    return answer if isinstance(answer, dict) and "state" in answer else dict(NO_ANSWER)


def _line(talk: socket.socket) -> bytes:
    line = b""
    while not line.endswith(b"\n") and len(line) <= MOST_BYTES:
        piece = talk.recv(4096)
        if not piece:
            break
        line += piece
    return line
