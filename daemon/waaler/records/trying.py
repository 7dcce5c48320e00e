"""Would this version take these records over? Tried on a copy."""

import sqlite3
import tempfile
from pathlib import Path

from waaler.records.reader import connect
from waaler.records.schema import StoreError
from waaler.records.store import Store

__all__ = ["try_on_copy"]


def try_on_copy(path: Path) -> None:
    """Carries a copy over to the present version and reads the whole of it; the records stay as they are.

    The copy stands in /var/tmp, which is on the card: /tmp may be memory.

    Raises NewerRecords and StoreError for records that cannot be taken over.
    """
    with tempfile.TemporaryDirectory(dir="/var/tmp", prefix="waaler-") as folder:
        copy = Path(folder) / path.name
        try:
            _copy(path, copy)
            store = Store(copy, "a try", is_lasting=False)
            try:
                store.check()
            finally:
                store.close()
        except sqlite3.Error as problem:
            raise StoreError(f"{path}: {problem}") from problem


def _copy(path: Path, copy: Path) -> None:
    source, target = connect(path), sqlite3.connect(copy)
    try:
        source.backup(target)
    finally:
        source.close()
        target.close()
