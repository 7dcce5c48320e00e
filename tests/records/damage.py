"""Damaged records before every reader.

Each case is a copy of some days of records with bits flipped, bytes overwritten, pages mixed up, the end cut off, or a
value of another type or size in one column of one row.
"""

import io
import json
import os
import random
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import partial
from pathlib import Path
from threading import Event

from tests.notify.fake_channel import FakeChannel
from tests.page.asking import ask, site_of, write_bed
from tests.records.facts import WALL_S, at
from tests.report.beds import bed, write_days

from waaler.core.facts import AlertRaised, PresentNoted, Severity, TripBegan
from waaler.core.status import BedState, Present, Wait
from waaler.guard.messages import Trip
from waaler.guard.names import Hindrance
from waaler.notify.courier import Courier, Round
from waaler.notify.deliveries import Deliveries
from waaler.notify.outbox import Outbox
from waaler.records.reader import Reader
from waaler.records.rows import Outgoing, RunRow
from waaler.records.schema import StoreError
from waaler.records.store import Store
from waaler.report.export import export
from waaler.report.history import as_csv, as_object, as_text, days_between, read_history
from waaler.report.page_of_period import page_of_period
from waaler.report.period import read_period
from waaler.report.why import why_of

__all__ = ["WRONG", "Damage", "damages", "faces", "whole", "with_wrong_value"]

PAGE = 1024
PERIOD = "since=2026-06-19&until=2026-06-26"
SPAN_S = (WALL_S - 86_400.0, WALL_S + 4 * 86_400.0)
WRONG: tuple[object, ...] = (
    None, "", "x", "\u6c34" * 500, b"\xff\xfe", b"", -1, 0, 1, 2**62, -(2**62), 1.5, -1e300, 1e300, float("inf"), "2026-99-99", "NaN",
)  # fmt: skip
TABLES = (
    "present",
    "sump",
    "run",
    "alert",
    "trip",
    "deed",
    "amount",
    "outbox",
    "boot",
    "name",
    "sensor",
    "sample",
    "sample_10_min",
)
Damage = Callable[[random.Random, bytes], bytes]


def whole(folder: Path) -> bytes:
    """The bytes of records in which something stands, waits and was done."""
    path = folder / "whole.db"
    write_days(path)
    store = Store(path, "boot-a")
    store.write([
        AlertRaised(at(11_000.0), "sump-low", Severity.URGENT, "Sump low at rest.\nUnplug the pump."),
        TripBegan(at(11_010.0), Trip.LOW_SUMP, "sump low", is_locked=False),
        PresentNoted(at(11_011.0), Present(BedState.STOPPED, wait=Wait(Hindrance.TRIP, "sump low"))),
    ])  # fmt: skip
    store.close()
    return path.read_bytes()


def flipped(chance: random.Random, data: bytes) -> bytes:
    damaged = bytearray(data)
    for _ in range(chance.choice((1, 1, 3, 20))):
        damaged[chance.randrange(len(damaged))] ^= 1 << chance.randrange(8)
    return bytes(damaged)


def overwritten(chance: random.Random, data: bytes) -> bytes:
    begin, length = chance.randrange(len(data)), chance.choice((1, 2, 4, 16, 64, 512))
    return (data[:begin] + chance.randbytes(length) + data[begin + length :])[: len(data)]


def mixed_up(chance: random.Random, data: bytes) -> bytes:
    damaged, pages = bytearray(data), len(data) // PAGE
    there, here = chance.randrange(pages), chance.randrange(pages)
    filled = chance.choice(
        (bytes(PAGE), b"\xff" * PAGE, chance.randbytes(PAGE), data[here * PAGE : (here + 1) * PAGE])
    )
    damaged[there * PAGE : (there + 1) * PAGE] = filled
    return bytes(damaged)


def cut(chance: random.Random, data: bytes) -> bytes:
    return data[: chance.randrange(len(data))]


def damages() -> dict[str, Damage]:
    return {
        "bits flipped": flipped,
        "bytes overwritten": overwritten,
        "pages mixed up": mixed_up,
        "end cut off": cut,
    }


def with_wrong_value(chance: random.Random, path: Path) -> str:
    """Puts a value where it does not belong, past the table's own checks; which."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA ignore_check_constraints = ON")
    db.execute("PRAGMA writable_schema = ON")
    db.execute(
        "UPDATE sqlite_schema SET sql = replace(replace(sql, ' STRICT', ''), 'NOT NULL', '') WHERE type = 'table'"
    )
    db.close()
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA ignore_check_constraints = ON")
    table = chance.choice(TABLES)
    column = chance.choice([row[1] for row in db.execute(f"PRAGMA table_info({table})")])
    keys = [row[1] for row in db.execute(f"PRAGMA table_info({table})") if row[5]]
    value = chance.choice(WRONG)
    where, found = "1", ()
    rows = db.execute(f"SELECT {', '.join(keys) or 'rowid'} FROM {table}").fetchall()
    if rows:
        found = chance.choice(rows)
        where = " AND ".join(f"{key} IS ?" for key in keys or ["rowid"])
    with suppress(sqlite3.Error):  # a key's own kind, or a name that is taken: it stays as it was
        db.execute(f"UPDATE {table} SET {column} = ? WHERE {where}", (value, *found))
    db.close()
    return f"{table}.{column} = {value!r}"


def faces(folder: Path, path: Path) -> Counter[str]:
    """Asks everybody who reads; what came of it. Raises whatever a face raises that is no StoreError."""
    told: Counter[str] = Counter()
    for name, face in _faces(folder, path):
        try:
            face()
            told["told"] += 1
        except StoreError:
            told["refused in one line"] += 1
        except Exception as problem:
            problem.add_note(f"at: {name}")
            raise
    return told


def _faces(folder: Path, path: Path) -> Iterator[tuple[str, Callable[[], object]]]:
    yield "history", lambda: _history(path)
    yield "why", lambda: _whys(path)
    yield "report", lambda: _report(path)
    yield "export", lambda: _export(folder, path)
    for where in (
        "/",
        "/bed/terrace/",
        "/bed/terrace/history",
        "/bed/terrace/history.csv",
        "/bed/terrace/run/1",
        "/metrics",
    ):
        yield f"page {where}", partial(_page, folder, where)
    yield "courier", lambda: _courier(folder, path)
    yield "outbox", lambda: _outbox(folder, path)


def _history(path: Path) -> None:
    with Reader(path) as reader:
        history = read_history(reader, *SPAN_S, bed().zone)
        days = [total.day for total in history.totals]
        json.dumps(as_object(history, days_between(days[0], days[0]) if days else []))
        assert as_text(history)
        assert as_csv(history)


def _whys(path: Path) -> None:
    with Reader(path) as reader:
        for number in (1, 2, 5):
            run = reader.run(number)
            assert run is None or why_of(reader, run, bed().zone)


def _report(path: Path) -> None:
    with Reader(path) as reader:
        assert page_of_period(read_period(reader, bed(), *SPAN_S, SPAN_S[1]))


def _export(folder: Path, path: Path) -> None:
    with Reader(path) as reader:
        export(reader, "terrace", "Terrace", folder / "copy.zip")


def _page(folder: Path, where: str) -> None:
    os.environ["STATE_DIRECTORY"] = str(folder)
    said = io.StringIO()
    got = ask(site_of(write_bed(folder), now_s=WALL_S + 11_400.0), where, PERIOD, **{"wsgi.errors": said})  # type: ignore[arg-type]
    assert got.status in (200, 404, 503), (got.status, said.getvalue())
    assert "cannot be shown" not in got.text


def _courier(folder: Path, path: Path) -> None:
    deliveries = Deliveries(folder / "notify.db", "fake")
    channel = FakeChannel(least=Severity.NOTE)
    try:
        courier = Courier(channel, Round("terrace", "Bed", bed().zone, path, folder / "notify.db"), Event())
        courier.look(deliveries, WALL_S + 11_100.0)
    finally:
        deliveries.close()


def _outbox(folder: Path, path: Path) -> None:
    deliveries = Deliveries(folder / "notify.db", "mqtt")
    sent: list[int] = []

    def send(message: Outgoing) -> int:
        if not isinstance(message.about, RunRow) and not message.about.kind.isascii():
            raise ValueError("no topic")
        sent.append(message.number)
        return len(sent)

    try:
        Outbox(path, deliveries, send).look(WALL_S + 11_100.0, must_read=True)
    finally:
        deliveries.close()
