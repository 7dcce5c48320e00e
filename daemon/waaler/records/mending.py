"""Records that were lost or damaged under their writer: put back, or begun anew with what can be read.

The new file is made beside the path first, whole, and takes the place in one step: a disk that takes none changes
nothing.
"""

import os
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from waaler.core.facts import Fact
from waaler.records.careful import BROKEN
from waaler.records.footing import Displaced
from waaler.records.store import Store, set_aside

__all__ = ["Mended", "mend"]


@dataclass(frozen=True, slots=True)
class Mended:
    """aside: where the file was kept that stood at the path, None if none did. rows: of a damaged file, that could
    be read; None where the records were put back whole.
    """

    aside: Path | None
    rows: int | None = None


def mend(
    path: Path, store: Store, problem: Exception, boot: str, present: Callable[[], Sequence[Fact]]
) -> Mended | None:
    """Closes the store; None, and the store stays open, if there is nothing to mend.

    present: what is known without records. Raises sqlite3.Error and OSError while the disk does not take it.
    """
    if isinstance(problem, Displaced):
        return _put_back(path, store)
    try:
        store.verify_whole()
    except BROKEN:
        return _begin_anew(path, store, boot, present())
    return None


def _put_back(path: Path, store: Store) -> Mended:
    """All that is in the open database, whatever became of its file."""
    path.parent.mkdir(exist_ok=True)
    new = _fresh(path)
    store.copy_to(new)
    is_own = store.is_own_file()
    aside = _change_places(path, new, store)
    if aside is not None and is_own:
        aside.unlink(missing_ok=True)
        aside = None
    return Mended(aside)


def _begin_anew(path: Path, store: Store, boot: str, present: Sequence[Fact]) -> Mended:
    new = _fresh(path)
    fresh = Store(new, boot)
    try:
        rows = fresh.take_over(path)
        fresh.tell_present(present)
    finally:
        fresh.close()
    return Mended(_change_places(path, new, store), rows)


def _fresh(path: Path) -> Path:
    """A name beside the path, free of what an earlier try left."""
    new = path.with_name(f"{path.name}.new")
    for tail in ("", "-wal", "-shm", "-journal"):
        new.with_name(new.name + tail).unlink(missing_ok=True)
    return new


def _change_places(path: Path, new: Path, store: Store) -> Path | None:
    """Where the old file went. It is moved before it is closed: closing removes its log by name."""
    _sync(new)
    is_there = any(os.path.lexists(path.with_name(path.name + tail)) for tail in ("", "-wal", "-shm"))
    aside = set_aside(path) if is_there else None
    new.rename(path)
    _sync(path.parent)
    with suppress(*BROKEN):
        store.close()
    return aside if aside is not None and os.path.lexists(aside) else None


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
