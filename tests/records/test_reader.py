"""Other processes read while the daemon writes, was stopped, or was killed."""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from tests.records.facts import WALL_S, at, intent, whole_run

from waaler.core.facts import Outcome, PresentNoted, RunResult
from waaler.core.status import BedState, Present, Wait
from waaler.guard.names import Hindrance
from waaler.records.days import day_totals
from waaler.records.reader import Reader
from waaler.records.rows import PresentRow
from waaler.records.store import NoRecords, Store, StoreError

ALWAYS = (0.0, 4e9)


def test_a_missing_file_is_named_with_what_makes_one(tmp_path: Path) -> None:
    path = tmp_path / "terrace.db"

    with pytest.raises(NoRecords) as refusal:
        Reader(path)

    assert str(refusal.value) == (f"{path}: no records yet; they begin when `waaler run` first starts for this bed")
    assert not path.exists()


def test_a_file_that_is_no_database_is_named(tmp_path: Path) -> None:
    path = tmp_path / "terrace.db"
    path.write_text("a shopping list\n" * 100)

    with pytest.raises(StoreError, match=r"terrace\.db: cannot be read as records: file is not a database"):
        Reader(path)


def test_a_reader_sees_what_was_committed_and_writes_nothing(tmp_path: Path) -> None:
    store = Store(tmp_path / "terrace.db", "boot-a")
    store.write(whole_run(1, 0.0))

    with Reader(tmp_path / "terrace.db") as reader:
        store.write(whole_run(2, 600.0))
        assert [run.run_id for run in reader.runs(*ALWAYS)] == [1, 2]
        with pytest.raises(Exception, match="readonly"):
            reader._db.execute("DELETE FROM run")
    store.close()


def test_of_what_the_bed_does_the_last_that_was_noted_is_kept_alone(tmp_path: Path) -> None:
    store = Store(tmp_path / "terrace.db", "boot-a")
    with Reader(tmp_path / "terrace.db") as reader:
        assert reader.present() is None
        lock = Present(BedState.LOCKED, wait=Wait(Hindrance.LOCK, "locked: ran too long", None, "find the cause"))
        store.write([PresentNoted(at(0.0), Present(BedState.WAITING))])
        store.write([PresentNoted(at(60.0), lock)])

        assert reader.present() == PresentRow(WALL_S + 60.0, lock)
        assert len(reader._ask.all("SELECT id FROM present")) == 1
    store.close()


def test_the_last_full_run_is_the_one_that_gave_its_dose_not_the_last_that_was_done(tmp_path: Path) -> None:
    store = Store(tmp_path / "terrace.db", "boot-a")
    soak = [
        fact if not isinstance(fact, RunResult) else replace(fact, is_full=False) for fact in whole_run(2, 600.0)
    ]
    store.write([*whole_run(1, 0.0), *soak])

    with Reader(tmp_path / "terrace.db") as reader:
        last = reader.last_full()
    store.close()
    assert last is not None
    assert last.run_id == 1


def test_without_leave_to_write_in_the_folder_a_closed_file_is_still_read() -> None:
    folder = Path(tempfile.mkdtemp(prefix="waaler-test-"))
    Store(folder / "terrace.db", "boot-a").close()
    folder.chmod(0o555)
    program = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "from waaler.records.reader import Reader\n"
        "if os.geteuid() == 0:\n"
        "    os.setgid(65534); os.setuid(65534)\n"
        "print(len(Reader(Path(sys.argv[1])).runs(0, 4e9)))\n"
    )

    done = subprocess.run(
        [sys.executable, "-c", program, str(folder / "terrace.db")], capture_output=True, text=True, timeout=30
    )

    folder.chmod(0o755)
    shutil.rmtree(folder)
    assert (done.stdout, done.stderr) == ("0\n", "")


KILLED = """
import sys
from pathlib import Path
from tests.records.facts import whole_run
from waaler.records.store import Store

store = Store(Path(sys.argv[1]), "boot-a")
for number in range(1, 100_000):
    store.write(whole_run(number, 300.0 * number))
    print(number, flush=True)
"""


@pytest.mark.parametrize("after", [1, 7, 40, 111, 180])
def test_a_process_killed_while_it_writes_loses_nothing_that_was_acknowledged(tmp_path: Path, after: int) -> None:
    path = tmp_path / "terrace.db"
    process = subprocess.Popen([sys.executable, "-c", KILLED, str(path)], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    acknowledged = 0
    for line in process.stdout:
        acknowledged = int(line)
        if acknowledged == after:
            os.kill(process.pid, signal.SIGKILL)
    process.stdout.close()
    process.wait(timeout=10)

    with Reader(path) as reader:
        runs = reader.runs(*ALWAYS)

    assert [run.run_id for run in runs] == list(range(1, len(runs) + 1))
    assert len(runs) in (acknowledged, acknowledged + 1)
    assert {run.outcome for run in runs} == {Outcome.DONE}, "no half transaction"


def test_days_are_local_and_count_cycles_not_pulses(tmp_path: Path) -> None:
    store = Store(tmp_path / "terrace.db", "boot-a")
    late_s = 16 * 3600.0 + 600.0
    store.write([*whole_run(1, 0.0), *whole_run(2, 600.0, 30.0, Outcome.CUT_SHORT), *whole_run(3, late_s)])
    store.write([intent(4, at(900.0)), RunResult(4, at(900.0), Outcome.SKIPPED, 0.0, "pot reads 82 %")])
    with Reader(tmp_path / "terrace.db") as reader:
        runs = reader.runs(WALL_S, WALL_S + 86_400)
    store.close()

    first, second = day_totals(runs, ZoneInfo("Europe/Lisbon"))

    assert (str(first.day), str(second.day)) == ("2026-06-21", "2026-06-22")
    assert first.outcomes == {Outcome.DONE: 1, Outcome.CUT_SHORT: 1, Outcome.SKIPPED: 1}
    assert (first.cycles, first.starts, first.pump_s) == (3, 2, 150.0)
    assert (second.cycles, second.starts, second.pump_s) == (1, 1, 120.0)
