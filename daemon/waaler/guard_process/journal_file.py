"""The journal on disk: read at a start, written by a thread of its own. Nobody waits for it."""

import os
from pathlib import Path
from threading import Condition, Thread

__all__ = ["JournalWriter", "read_journal"]

MOST_BYTES = 262_144
"""A longer file is begun anew with its last line."""

LONGEST_READ = 4 * MOST_BYTES
AGAIN_AFTER_S = 5.0
LOOK_EVERY_S = 30.0
"""So seldom the last line is looked for: a file that was deleted or overwritten is begun anew within a minute."""


def read_journal(path: Path) -> bytes | None:
    """What stands in it, empty if there is no such file; None where the disk does not give it."""
    try:
        with path.open("rb") as file:
            return file.read(LONGEST_READ)
    except FileNotFoundError:
        return b""
    except OSError:
        return None


class JournalWriter(Thread):
    """Keeps the newest line that was put; each line is the whole, so that one put meanwhile takes its place.

    problem: why the last try failed, empty while the disk takes it. is_aside: the file that is there is moved away
    first.
    """

    def __init__(self, path: Path, is_aside: bool = False, look_every_s: float = LOOK_EVERY_S) -> None:
        super().__init__(name="journal", daemon=True)
        self._path, self._is_aside, self._look_every_s = path, is_aside, look_every_s
        self._next: bytes | None = None
        self._last: bytes | None = None
        self._is_ending = False
        self._changed = Condition()
        self._is_begun = False
        self._is_with_kernel = True
        self.problem = ""

    def put(self, line: bytes) -> None:
        """Takes a line to be written; returns at once."""
        with self._changed:
            self._next, self._is_with_kernel = line, False
            self._changed.notify_all()

    def wait(self, within_s: float) -> None:
        """Until the kernel has the last line, which a kill then cannot lose. The disk is not waited for."""
        with self._changed:
            self._changed.wait_for(lambda: self._is_with_kernel, within_s)

    def end(self, within_s: float) -> None:
        """Writes what still waits, if the disk takes it in this time."""
        with self._changed:
            self._is_ending = True
            self._changed.notify_all()
        self.join(within_s)

    def run(self) -> None:
        while True:
            with self._changed:
                while self._next is None and not self._is_ending:
                    if not self._changed.wait(self._look_every_s) and self._is_lost():
                        self._next, self._is_begun = self._last, False
                line, self._next = self._next, None
            if line is None:
                return
            self._write_or_wait(line)

    def _write_or_wait(self, line: bytes) -> None:
        try:
            self._write(line)
        except OSError as problem:
            self.problem = str(problem)
            self._is_begun = False
            with self._changed:
                if self._is_ending:
                    return
                self._next = self._next or line
                self._changed.wait(AGAIN_AFTER_S)
        else:
            self.problem, self._last = "", line

    def _is_lost(self) -> bool:
        """Whether the file does not end with the last line any more."""
        if self._last is None:
            return False
        try:
            with self._path.open("rb") as file:
                file.seek(-len(self._last), os.SEEK_END)
                return file.read() != self._last
        except OSError:
            return True

    def _write(self, line: bytes) -> None:
        """Appends; at the start and when it has grown long the file is begun anew, in one step."""
        if not self._is_begun or self._path.stat().st_size > MOST_BYTES:
            self._begin_anew(line)
            return
        with self._path.open("ab") as file:
            file.write(line)
            file.flush()
            self._kernel_has_it()
            os.fsync(file.fileno())

    def _kernel_has_it(self) -> None:
        with self._changed:
            self._is_with_kernel = self._next is None
            self._changed.notify_all()

    def _begin_anew(self, line: bytes) -> None:
        new = self._path.with_name(f"{self._path.name}.new")
        with new.open("wb") as file:
            file.write(line)
            file.flush()
            os.fsync(file.fileno())
        if self._is_aside:
            self._path.rename(self._path.with_name(f"{self._path.name}.aside"))
            self._is_aside = False
        new.replace(self._path)
        handle = os.open(self._path.parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
        self._is_begun = True
        self._kernel_has_it()
