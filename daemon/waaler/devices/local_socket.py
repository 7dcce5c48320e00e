"""Sockets for programs of this machine: opening one at a path, and who is at the other end."""

import socket
import struct
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Peer", "listen", "peer_of", "unlink_own"]

MODE = 0o660
"""The folder's group is the access control."""

CREDENTIALS = struct.Struct("3i")


@dataclass(frozen=True, slots=True)
class Peer:
    """The process at the other end, as the kernel knows it."""

    process: int
    user: int


def listen(path: Path, most_waiting: int) -> tuple[socket.socket, int]:
    """A socket that listens at `path`, and the inode of its file. Raises OSError.

    It takes its place there once it listens and the group may use it: whoever connects meets the old one or this.
    """
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    new = path.with_name(f"{path.name}~")
    try:
        new.unlink(missing_ok=True)
        listener.bind(str(new))
        new.chmod(MODE)
        listener.listen(most_waiting)
        inode = new.stat().st_ino
        new.replace(path)
        return listener, inode
    except OSError:
        listener.close()
        raise


def unlink_own(path: Path, inode: int) -> None:
    """Takes the file away, unless another process has put its own there. Raises OSError."""
    if path.stat().st_ino == inode:
        path.unlink()


def peer_of(connection: socket.socket) -> Peer:
    """Raises OSError."""
    told = connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, CREDENTIALS.size)
    process, user, _ = CREDENTIALS.unpack(told)
    return Peer(process, user)
