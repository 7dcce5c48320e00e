"""Watches the grower's file: a change counts once size and time stood still for two seconds."""

from pathlib import Path

__all__ = ["FileWatch"]

STILL_S = 2.0


class FileWatch:
    """Asked about once a second; a file that is missing for the moment is not a change."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._taken = _stamp(path)
        self._seen = self._taken
        self._seen_s = 0.0

    def has_changed(self, now_s: float) -> bool:
        """True once for each change, when it has stood still."""
        stamp = _stamp(self._path)
        if stamp != self._seen:
            self._seen, self._seen_s = stamp, now_s
        if stamp is None or stamp == self._taken or now_s - self._seen_s < STILL_S:
            return False
        self._taken = stamp
        return True


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns
