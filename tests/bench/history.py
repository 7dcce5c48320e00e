"""Ten years of records: pages and queries beside the bare SQL. Run: `python -m tests.bench.history [YEARS]`.

Writes YEARS (default 10) of a busy bed, 55 runs a day, and five sensors as the daemon keeps them: minutes of a month,
ten minutes of a year, days for ever. Nothing here is a timed test; compare the figures of one run with each other.
"""

import os
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median

from tests.bench.table import Row, ratio
from tests.page.asking import ask, write_bed
from tests.records.facts import intent, whole_run

from waaler.core.facts import Act, Deed, Fact, Outcome, RunResult
from waaler.guard.messages import Instant
from waaler.page.beds import Watch
from waaler.page.site import Rules, Site
from waaler.records.reader import Reader
from waaler.records.schema import transaction
from waaler.records.store import Store

DAY_S = 86_400.0
END_S = 1_782_025_200.0
RUNS_A_DAY = 55
SENSORS = ("pot_1", "pot_2", "pot_3", "pot_4", "air")
TIMES = 15


def main() -> None:
    most = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    print(
        f"{'years':>6} {'runs':>8} {'MB':>6} | {'30 days of runs':^31} | {'home':>8} {'history':>8} {'30 days':>8}"
    )
    print(
        f"{'':>6} {'':>8} {'':>6} | {'bare SQL':>10} {'Reader':>10} {'ratio':>9} | {'page':>8} {'page':>8} {'csv':>8}"
    )
    for years in (most / 8, most / 4, most / 2, most):
        with tempfile.TemporaryDirectory() as folder:
            measure(Path(folder), years)


def rows(is_quick: bool) -> Iterator[Row]:
    """The last 30 days of a long history, and of one a tenth as long."""
    years = 1.0 if is_quick else 10.0
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as short:
        read, bare = read_and_bare_ms(Path(folder), years)
        short_read, _ = read_and_bare_ms(Path(short), years / 10)
    yield Row(
        f"30 days of {years:g} years' history", f"{read:.1f} ms", f"{bare:.1f} ms", ratio(read, bare), "2 x",
        read <= 2 * bare,
    )  # fmt: skip
    yield Row(
        f"  of {years / 10:g} years: flat in size",
        f"{read:.1f} ms",
        f"{short_read:.1f} ms",
        ratio(read, short_read),
    )


def read_and_bare_ms(folder: Path, years: float) -> tuple[float, float]:
    path = folder / "terrace.db"
    write(path, years)
    since_s = END_S - 30 * DAY_S
    return timed(lambda: through_reader(path, since_s)), timed(lambda: bare_sql(path, since_s))


def measure(folder: Path, years: float) -> None:
    path = folder / "terrace.db"
    runs = write(path, years)
    os.environ["STATE_DIRECTORY"] = str(folder)
    site = Site([Watch(write_bed(folder, title="Terrace"))], Rules(frozenset({"localhost"})), lambda: END_S)
    since_s = END_S - 30 * DAY_S
    bare = timed(lambda: bare_sql(path, since_s))
    read = timed(lambda: through_reader(path, since_s))
    home = timed(lambda: page(site, "/"))
    table = timed(lambda: page(site, "/bed/terrace/history"))
    whole = timed(lambda: page(site, "/bed/terrace/history.csv"))
    megabytes = path.stat().st_size / 1e6
    print(
        f"{years:>6g} {runs:>8} {megabytes:>6.1f} | {bare:>7.1f} ms {read:>7.1f} ms {read / bare:>7.2f} x |"
        f" {home:>5.0f} ms {table:>5.0f} ms {whole:>5.0f} ms"
    )


def bare_sql(path: Path, since_s: float) -> int:
    """The same columns of the same rows, as tuples."""
    db = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    rows = db.execute(
        "SELECT id, when_s, cause, asked_s, planned_s, reason, day, window, n, planned_at_s, pulse, pulses, by,"
        " intent_wall_s, intent_is_sure, started_wall_s, granted_s, outcome, ended_wall_s, actual_s, result_reason"
        " FROM run WHERE when_s >= ? AND when_s < ? ORDER BY when_s, id",
        (since_s, END_S),
    ).fetchall()
    db.close()
    return len(rows)


def through_reader(path: Path, since_s: float) -> int:
    with Reader(path) as reader:
        return len(reader.runs(since_s, END_S))


def page(site: Site, path: str) -> None:
    got = ask(site, path)
    assert got.status == 200
    assert len(got.text) < 100_000 or path.endswith("csv"), len(got.text)


def timed(work: Callable[[], object]) -> float:
    """Median milliseconds of the processor, the first call left out: others on this machine count for neither side."""
    work()
    found = []
    for _ in range(TIMES):
        begun = time.process_time()
        work()
        found.append(1000 * (time.process_time() - begun))
    return median(found)


def write(path: Path, years: float) -> int:
    """Straight through the inserts, in few transactions; how many runs."""
    store = Store(path, "boot-1", is_lasting=False)
    days = round(365.25 * years)
    number = 0
    for day in range(days):
        begin_s = END_S - (days - day) * DAY_S
        facts: list[Fact] = [Deed(Instant(begin_s, begin_s), Act.START, "the daemon started")] if day == 0 else []
        for n in range(RUNS_A_DAY):
            number += 1
            facts += _run(number, begin_s + n * DAY_S / RUNS_A_DAY)
        if day % 4 == 0:
            facts.append(Deed(Instant(begin_s + 30_000, begin_s + 30_000), Act.REFILL, "60 L of water", "anna"))
        store.write(facts)
    store.close()
    _write_samples(path, days)
    return number


def _run(number: int, wall_s: float) -> list[Fact]:
    at = Instant(wall_s, wall_s)
    if number % 5 == 0:
        return [intent(number, at), RunResult(number, at, Outcome.SKIPPED, 0.0, "pot_1 reads 93 %, wet above 90 %")]
    return whole_run(number, 0.0, run_at=at)


def _write_samples(path: Path, days: int) -> None:
    db = sqlite3.connect(path, isolation_level=None)
    last = int(END_S // 60)
    with transaction(db):
        db.executemany("INSERT INTO sensor VALUES (?, ?, ?)", [
            (n, name, "C" if name == "air" else "%") for n, name in enumerate(SENSORS, start=1)
        ])  # fmt: skip
        for table, count, unit in (
            ("sample", 30 * 1440, 1),
            ("sample_10_min", 366 * 144, 10),
            ("sample_day", days, 1440),
        ):
            count = min(count, days * 1440 // unit)
            minutes = "" if table == "sample" else f"{unit}, "
            db.executemany(
                f"INSERT INTO {table} VALUES (?, ?, {minutes}?, ?, ?)",
                (
                    (last // unit - count + n, s, 70_000 + 97 * n % 9000, 69_000, 80_000)
                    for n in range(count)
                    for s in range(1, len(SENSORS) + 1)
                ),
            )
    db.close()


if __name__ == "__main__":
    main()
