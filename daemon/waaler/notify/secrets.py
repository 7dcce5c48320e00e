"""Passwords and secret addresses: from a file, or handed over by the service manager; never from the bed's file."""

import os
from pathlib import Path

__all__ = ["read_lines", "read_secret"]


def read_secret(where: str) -> str:
    """The first line of a file, or of the credential of that name. Raises OSError, also for an empty one."""
    return read_lines(where)[0]


def read_lines(where: str) -> list[str]:
    """All lines that say something. Raises OSError with the file's name, never with what is in it."""
    path = _path(where)
    try:
        lines = [line.strip() for line in path.read_text(encoding="utf-8").splitlines()]
    except UnicodeDecodeError:
        raise OSError(f"{path} is not UTF-8 text") from None
    lines = [line for line in lines if line and not line.startswith("#")]
    if not lines:
        raise OSError(f"{path} is empty")
    return lines


def _path(where: str) -> Path:
    """A name without a folder is a credential, where the service manager handed one over."""
    folder = os.environ.get("CREDENTIALS_DIRECTORY")
    if folder is not None and "/" not in where and (Path(folder) / where).is_file():
        return Path(folder) / where
    return Path(where)
