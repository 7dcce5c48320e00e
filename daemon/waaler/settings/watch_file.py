"""Watches the grower's file: a change counts once size and time stood still for a while."""

from pathlib import Path

__all__ = ["STILL_S", "FileWatch"]

STILL_S = 2.0


class FileWatch:
    """Asked now and then. A file that is missing for the moment is no change. still_s: how long it stands still."""

    def __init__(self, path: Path, still_s: float = STILL_S) -> None:
        self._path, self._still_s = path, still_s
        self._taken = _stamp(path)
        self._seen = self._taken
        self._seen_s = 0.0

    def has_changed(self, now_s: float) -> bool:
        """True once for each change, when it has stood still. now_s: by any clock that only goes forward."""
        stamp = _stamp(self._path)
        if stamp != self._seen:
            self._seen, self._seen_s = stamp, now_s
        if stamp is None or stamp == self._taken or now_s - self._seen_s < self._still_s:
            return False
        self._taken = stamp
        return True


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns
