"""Records deleted, moved, replaced, cut or damaged under the recorder that has them open."""

import os
import random
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.keeper.test_parts import no_death
from tests.records.facts import at, whole_run

from waaler.core.facts import AlertRaised, Severity
from waaler.core.messages import Notice, Recorded
from waaler.guard.messages import Instant
from waaler.keeper.record_mender import RecordMender
from waaler.keeper.recorder import Recorder
from waaler.records.reader import Reader
from waaler.records.store import Store

__all__ = ["running"]

RUNS = 60
ALWAYS = (0.0, 4e9)
TAILS = ("", "-wal", "-shm")
ALERT = AlertRaised(at(50.0), "sump-low", Severity.URGENT, "Sump low at rest.")
Harm = Callable[[random.Random, Path], str]


def running(chance: random.Random, folder: Path) -> Iterator[str | None]:
    """What did not hold of each harm in turn; None where it was told within a minute, or nothing was lost."""
    while True:
        place = Path(tempfile.mkdtemp(dir=folder)) / "records"
        place.mkdir()
        yield _try(chance, place / "t.db")
        shutil.rmtree(place.parent)


def _try(chance: random.Random, path: Path) -> str | None:
    now_s = [200_000.0]
    told: list[Notice] = []
    kept: list[Recorded] = []

    def now() -> Instant:
        return at(now_s[0])

    mender = RecordMender(path, "boot", lambda: [ALERT], told.append)
    recorder = Recorder(lambda: Store(path, "boot"), kept.append, now, no_death, mend=mender.mend)
    _fill(chance, recorder)
    what = chance.choice(HARMS)(chance, path)
    now_s[0] += 60.0
    try:
        recorder._look()
        for fact in whole_run(RUNS + 1, 190_000.0):
            recorder.put(fact)
        recorder.stop()
        recorder.work()
        with Reader(path) as reader:
            found = {run.run_id for run in reader.runs(*ALWAYS)}
            lost = set(range(1, RUNS + 2)) - found
            alerts = [alert.kind for alert in reader.open_alerts()]
            unread = reader.unread
    except Exception as problem:
        return f"{what}: died of {type(problem).__name__}: {problem}"
    if kept[-1] != Recorded(RUNS + 1) or RUNS + 1 in lost:
        return f"{what}: what came after it is not kept"
    if alerts != ["sump-low"]:
        return f"{what}: the alert that stands is not in the records"
    if len(lost) > unread and not told:
        return f"{what}: runs {sorted(lost)} are gone and nobody is told"
    return None


def _fill(chance: random.Random, recorder: Recorder) -> None:
    """Some of it in the database, some in the log alone."""
    folded = chance.randrange(RUNS)
    for number in range(1, RUNS + 1):
        for fact in whole_run(number, 600.0 * number):
            recorder.put(fact)
        if number in (folded, RUNS):
            recorder.put(ALERT)
            recorder._gather()
            recorder._write_facts()
            store = recorder._store
            assert store is not None
            if number == folded:
                store._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
                store._footing.note()


def _deleted(chance: random.Random, path: Path) -> str:
    tails = [tail for tail in TAILS if chance.random() < 0.5] or [chance.choice(TAILS)]
    for tail in tails:
        path.with_name(path.name + tail).unlink()
    return f"{tails} deleted"


def _folder_gone(_: random.Random, path: Path) -> str:
    shutil.rmtree(path.parent)
    return "the folder deleted"


def _moved(_: random.Random, path: Path) -> str:
    path.rename(path.with_name("elsewhere"))
    return "moved away"


def _replaced(chance: random.Random, path: Path) -> str:
    other = path.with_name("other")
    if chance.random() < 0.5:
        other.write_bytes(chance.randbytes(chance.choice((0, 10, 5000))))
    else:
        Store(other, "boot").close()
    other.rename(path)
    return "replaced"


def _overwritten(chance: random.Random, path: Path) -> str:
    tail = chance.choice(("", "-wal"))
    part = path.with_name(path.name + tail)
    begin, length = chance.randrange(max(1, part.stat().st_size)), chance.choice((1, 16, 512, 4096, 20_000))
    with part.open("r+b") as file:
        file.seek(begin)
        file.write(chance.randbytes(length))
    return f"{length} bytes of {tail or 'the database'} overwritten from {begin}"


def _cut(chance: random.Random, path: Path) -> str:
    tail = chance.choice(("", "-wal"))
    part = path.with_name(path.name + tail)
    length = chance.randrange(part.stat().st_size + 1)
    os.truncate(part, length)
    return f"{tail or 'the database'} cut to {length}"


def _rows_deleted(chance: random.Random, path: Path) -> str:
    """By a person with a shell: no damage, and no loss that the daemon could call one."""
    db = sqlite3.connect(path, isolation_level=None, timeout=5.0)
    db.execute("UPDATE run SET reason = ? WHERE id = ?", (chance.choice(("x", "\u6c34")), chance.randrange(RUNS)))
    db.close()
    return "another program wrote"


HARMS: tuple[Harm, ...] = (
    _deleted, _folder_gone, _moved, _replaced, _overwritten, _overwritten, _cut, _rows_deleted,
)  # fmt: skip
