"""Passwords and secret addresses: from a file, or handed over by the service manager; never from the bed's file."""

import os
from pathlib import Path

from waaler.settings import SettingsError
from waaler.settings.outside_file import refuse_odd, text_of
from waaler.settings.path_keys import SecretFile

__all__ = ["credential", "read_lines", "read_secret"]

MOST_BYTES = 64 * 1024


def read_secret(where: SecretFile) -> str:
    """The first line of a file, or of the credential of that name. Raises OSError, also for an empty one."""
    return read_lines(where)[0]


def read_lines(where: SecretFile) -> list[str]:
    """All lines that say something. Raises OSError with the file's name, never with what is in it."""
    path = _handed_over(where.credential) or where.path
    if path is None:
        raise OSError(f"there is no credential {where.credential}; name a file in the bed's file")
    try:
        text = text_of(path, MOST_BYTES)
    except SettingsError as problem:
        raise OSError(f"{path}: {problem.faults[0].what}") from None
    lines = [line.strip() for line in text.split("\n")]
    lines = [line for line in lines if line and not line.startswith("#")]
    if not lines:
        raise OSError(f"{path} is empty")
    return lines


def credential(name: str) -> SecretFile:
    """What the service manager hands to this process alone, where the bed's file names nothing."""
    return SecretFile(None, name)


def _handed_over(name: str | None) -> Path | None:
    folder = os.environ.get("CREDENTIALS_DIRECTORY")
    if folder is None or name is None:
        return None
    path = Path(folder) / name
    try:
        refuse_odd(path)
    except OSError:
        return None
    return path
