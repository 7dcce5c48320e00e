"""Does the open database still stand at its path, whole, and changed by nobody but its writer?

A database goes on taking writes after its file was deleted, moved or replaced: they end with the process. What is
asked here is cheap, so that it can be asked before every write; only where something changed is the file read.

The database and its index are never opened here as files: closing such a handle would end this process's locks.
"""

import errno
import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from waaler.records.damage import check
from waaler.records.schema import StoreError
from waaler.records.wal import whole_frames

__all__ = ["Displaced", "Footing"]

TAILS = ("", "-wal", "-shm")
WHOLE_EVERY_S = 86_400.0
"""A card may lose bits by itself. Common practice, no source."""


class Displaced(StoreError):
    """Another file, or none, stands at the path: what is written goes nowhere. is_other: another does."""

    def __init__(self, path: Path, is_other: bool) -> None:
        super().__init__(f"{path}: {'another file stands there' if is_other else 'the file is gone'}")
        self.is_other = is_other


@dataclass(frozen=True, slots=True)
class _Seen:
    """Which files they are, and how database and write-ahead log looked; None for one that is not there."""

    files: tuple[tuple[int, int] | None, ...]
    looks: tuple[tuple[int, int] | None, ...]


class Footing:
    """Belongs to the one writer's thread. now_s: by the long hand."""

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        self._path, self._db = path, db
        self._whole_s: float | None = None
        self._seen = _seen(path)

    def note(self) -> None:
        """After a write of one's own."""
        seen = _seen(self._path)
        self._seen = _Seen(self._seen.files, seen.looks)

    def is_own_file(self) -> bool:
        """Whether the database itself still stands at its path."""
        return self._seen.files[0] is not None and _seen(self._path).files[0] == self._seen.files[0]

    def takes_files(self) -> bool:
        """Whether the folder does: what is open can be written without, and no start after this one."""
        return os.access(self._path.parent, os.W_OK)

    def verify(self, now_s: float) -> None:
        """Raises Displaced; what BROKEN names for damage; OSError where nothing may be written."""
        seen = _seen(self._path)
        for was, now in zip(self._seen.files, seen.files, strict=True):
            if was is not None and was != now:
                raise Displaced(self._path, now is not None)
        if not os.access(self._path, os.W_OK):
            raise OSError(errno.EROFS, "may not be written any more", str(self._path))
        if self._whole_s is None:
            self._whole_s = now_s
        if seen.looks != self._seen.looks or now_s >= self._whole_s + WHOLE_EVERY_S:
            self.verify_whole()
            self._whole_s = now_s

    def verify_whole(self) -> None:
        """Reads everything as another process would. Raises sqlite3.Error and UnicodeError for damage."""
        whole = whole_frames(self._path.with_name(f"{self._path.name}-wal"))
        frames = self._db.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()[1]
        if whole < frames:
            raise sqlite3.DatabaseError(f"the write-ahead log is damaged: {whole} of {frames} pages can be read")
        with closing(sqlite3.connect(f"{self._path.resolve().as_uri()}?mode=ro", uri=True)) as other:
            check(other)
        self._seen = _seen(self._path)


def _seen(path: Path) -> _Seen:
    stats = [_stat(path.with_name(path.name + tail)) for tail in TAILS]
    return _Seen(
        tuple(None if stat is None else (stat.st_dev, stat.st_ino) for stat in stats),
        tuple(None if stat is None else (stat.st_size, stat.st_mtime_ns) for stat in stats[:2]),
    )


def _stat(path: Path) -> os.stat_result | None:
    try:
        return path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return None
