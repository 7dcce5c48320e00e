"""Keeps a rehearsal's records: in a file of its own, made anew, never the daemon's."""

from collections.abc import Callable, Sequence
from pathlib import Path

from waaler.core.facts import Fact
from waaler.records.store import Store
from waaler.rehearsal.play import Play
from waaler.rehearsal.scene import Findings, Scene
from waaler.settings.places import state_folder

__all__ = ["play_and_keep", "rehearsal_path"]

FACTS_AT_ONCE = 2000


def rehearsal_path(bed: str) -> Path:
    """The rehearsal's file; a bed cannot be called so that it is the daemon's, since ids have no dots."""
    return state_folder(bed) / f"{bed}.rehearsal.db"


def play_and_keep(bed: str, scene: Scene, progress: Callable[[float], object] | None = None) -> Findings:
    """Plays the scene and writes its records, in place of those of the rehearsal before."""
    path = rehearsal_path(bed)
    for tail in ("", "-wal", "-shm"):
        path.with_name(path.name + tail).unlink(missing_ok=True)
    store = Store(path, boot="rehearsal", is_lasting=False)
    waiting: list[Fact] = []

    def keep(facts: Sequence[Fact]) -> None:
        waiting.extend(facts)
        if len(waiting) >= FACTS_AT_ONCE:
            store.write(waiting)
            waiting.clear()

    try:
        findings = Play(scene, keep).run(progress)
        store.write(waiting)
    finally:
        store.close()
    return findings
