"""Damaged records before everybody who reads them: history, why, report, export, page, metrics, messengers."""

import os
import random
from collections.abc import Iterator
from pathlib import Path

from tests.records.damage import damages, faces, whole, with_wrong_value

__all__ = ["readers"]


def readers(chance: random.Random, folder: Path) -> Iterator[str | None]:
    """What did not hold of each damage in turn; None where every face told or refused in one line."""
    os.environ["STATE_DIRECTORY"] = str(folder)
    data = whole(folder)
    path = folder / "terrace.db"
    while True:
        for kind, damage in damages().items():
            _put(path, damage(chance, data))
            yield _face(folder, kind)
        _put(path, data)
        yield _face(folder, with_wrong_value(chance, path))


def _put(path: Path, data: bytes) -> None:
    for left in path.parent.glob("*.db*"):
        left.unlink()
    path.write_bytes(data)


def _face(folder: Path, what: str) -> str | None:
    try:
        faces(folder, folder / "terrace.db")
    except Exception as problem:
        return f"{what}: died of {type(problem).__name__}: {problem} {getattr(problem, '__notes__', '')}"
    return None
