"""Puts a file in the place of another in one step: nobody ever reads half of it."""

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["replaced"]

NEW_MODE = 0o666
"""Less what the user's mask takes away."""


@contextmanager
def replaced(path: Path, is_theirs: bool = False) -> Iterator[Path]:
    """A new file beside `path` to write to; it takes that place once the block is left without an error.

    is_theirs: it is a person's own file: mode and owner stay, and the disk is waited for.

    Raises OSError where `path` is anything but new or a regular file: root would replace a device by a file.
    """
    try:
        old = path.stat()
    except FileNotFoundError:
        old = None
    if old is not None and not stat.S_ISREG(old.st_mode):
        raise OSError("this is no regular file; name a new file")
    new = path.with_name(f".{path.name}.new")
    new.unlink(missing_ok=True)
    os.close(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, NEW_MODE))
    try:
        yield new
        if old is not None and is_theirs:
            _as_before(new, old)
        os.replace(new, path)
    finally:
        new.unlink(missing_ok=True)


def _as_before(new: Path, old: os.stat_result) -> None:
    handle = os.open(new, os.O_RDONLY | os.O_NOFOLLOW)
    try:
        own = os.fstat(handle)
        os.fchmod(handle, old.st_mode & 0o777)
        if (own.st_uid, own.st_gid) != (old.st_uid, old.st_gid):
            os.fchown(handle, old.st_uid, old.st_gid)
        os.fsync(handle)
    finally:
        os.close(handle)
