"""HTTP Basic against a file of scrypt hashes, one `NAME:scrypt:N:R:P:SALT:HASH` a line."""

import base64
import binascii
import hashlib
import hmac
import re
import secrets
import stat
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from waaler.settings.outside_file import bytes_of, told

__all__ = ["PasswordFileError", "Passwords", "hash_line"]

N, R, P = 16_384, 8, 1
"""16 MiB and some 50 ms on a desktop. Source of the meaning: RFC 7914, section 2; sizes: common practice."""

MOST_MEMORY = 64 * 1024 * 1024
LONGEST_HEADER = 512


class PasswordFileError(Exception):
    """The file cannot be used; the message is one line for people."""


@dataclass(frozen=True, slots=True)
class _Hash:
    n: int
    r: int
    p: int
    salt: bytes
    digest: bytes

    def of(self, password: str) -> bytes:
        return hashlib.scrypt(
            password.encode(), salt=self.salt, n=self.n, r=self.r, p=self.p, maxmem=MOST_MEMORY,
            dklen=len(self.digest),
        )  # fmt: skip


def hash_line(name: str, password: str) -> str:
    """A line for the file. Raises ValueError for a name that Basic cannot carry."""
    if not re.fullmatch(r"[A-Za-z0-9._-]{1,40}", name):
        raise ValueError("a name is letters, digits, dots and hyphens")
    salt = secrets.token_bytes(16)
    digest = hashlib.scrypt(password.encode(), salt=salt, n=N, r=R, p=P, maxmem=MOST_MEMORY, dklen=32)
    return f"{name}:scrypt:{N}:{R}:{P}:{salt.hex()}:{digest.hex()}"


class Passwords:
    """Raises PasswordFileError for a file that is missing, malformed, or open to everybody."""

    def __init__(self, path: Path) -> None:
        self._hashes = _read(path)
        self._nobody = _Hash(N, R, P, secrets.token_bytes(16), secrets.token_bytes(32))
        self._key = secrets.token_bytes(32)
        self._known: set[bytes] = set()
        self._lock = Lock()

    def admits(self, header: str) -> bool:
        """Whether an Authorization header is right. One that was right is known again without scrypt's price.

        Wrong names cost as much as wrong passwords, and one is judged at a time, so that guessing is slow.
        """
        if len(header) > LONGEST_HEADER:
            return False
        mark = hmac.digest(self._key, header.encode("utf-8", "replace"), "sha256")
        if any(hmac.compare_digest(mark, known) for known in tuple(self._known)):
            return True
        pair = _pair(header)
        if pair is None:
            return False
        with self._lock:
            wanted = self._hashes.get(pair[0], self._nobody)
            is_right = hmac.compare_digest(wanted.of(pair[1]), wanted.digest)
            if is_right:
                self._known.add(mark)
        return is_right


def _pair(header: str) -> tuple[str, str] | None:
    kind, _, coded = header.partition(" ")
    if kind.lower() != "basic":
        return None
    try:
        name, colon, password = base64.b64decode(coded, validate=True).decode().partition(":")
    except (binascii.Error, UnicodeDecodeError):
        return None
    return (name, password) if colon else None


def _read(path: Path) -> dict[str, _Hash]:
    try:
        if path.stat().st_mode & (stat.S_IROTH | stat.S_IWOTH | stat.S_IWGRP):
            raise PasswordFileError(f"{path}: others may read or change it; chmod 640 {path}")
        lines = bytes_of(path).decode("ascii").splitlines()
    except OSError as problem:
        raise PasswordFileError(f"{path}: cannot be read: {told(problem)}") from None
    except UnicodeDecodeError:
        raise PasswordFileError(f"{path}: is no text of hashes") from None
    found = dict(_line(path, n, line) for n, line in enumerate(lines, start=1) if line.strip())
    if not found:
        raise PasswordFileError(f"{path}: has no line; make one with `waaler page --make-password NAME`")
    return found


def _line(path: Path, number: int, line: str) -> tuple[str, _Hash]:
    try:
        name, kind, n, r, p, salt, digest = line.strip().split(":")
        if kind != "scrypt":
            raise ValueError
        made = _Hash(int(n), int(r), int(p), bytes.fromhex(salt), bytes.fromhex(digest))
        if len(made.digest) < 16 or len(made.salt) < 8:
            raise ValueError
        made.of("")
    except ValueError:
        remedy = "make one with `waaler page --make-password NAME`"
        raise PasswordFileError(f"{path}:{number}:1: this is no hash; {remedy}") from None
    return name, made
