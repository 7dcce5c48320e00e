"""A random week of a bed, written into records as the daemon would, and what each face says of the same moment."""

import json
import re
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from random import Random

from prometheus_client.openmetrics.parser import text_string_to_metric_families
from tests.core.bench import Bench
from tests.page.asking import Page, ask, site_of

from waaler.core.facts import Amount
from waaler.core.memory import Memory
from waaler.core.messages import OrderKind, Write
from waaler.core.status import Status, as_json
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input, Level
from waaler.keeper.status import status
from waaler.notify import fleet
from waaler.notify.good_day import line
from waaler.notify.service import bed_of
from waaler.records.reader import Reader
from waaler.records.store import Store
from waaler.report.metrics import metrics
from waaler.report.page_of_period import page_of_period
from waaler.report.period import read_period
from waaler.settings import Settings, load

__all__ = ["Said", "differences", "faces", "play_week"]

DAY_S = 86_400.0
LONG_S = 100_000.0
FILE = """\
bed: terrace
place: {{timezone: Europe/Lisbon, latitude: 38.72, longitude: -9.14}}
plan:
  - window: day
    cycles: {cycles}
    between: ["06:00", "20:00"]
    water: {seconds} s
layout:
  sump: {{full: {full} L, low: 45 L, empty: 25 L}}
  drink_per_pot: {drink:.2f} L
  evaporates: {evaporates:.1f} L
{top_up}"""
SUMP_CELL = re.compile(r"^sump\n(?P<litres>\d+) L\n(?:(?P<days>[\d.]+) days|lasts)", re.MULTILINE)
PERIOD = re.compile(r"in the sump at the end\s+(?P<litres>\d+) L, (?P<days>[\d.]+) days")


@dataclass(frozen=True, slots=True)
class Said:
    """What a face says of the sump; None for what it does not tell. day: on which it needs water."""

    face: str
    litres: float | None = None
    litres_within: float = 0.0
    days: float | None = None
    days_within: float = 0.0
    day: str | None = None
    tells_days: bool = False


def play_week(folder: Path, seed: int) -> Iterator[list[Said]]:
    """What all faces say, some twenty times in a week. folder: empty; where records of the bed belong."""
    chance = Random(seed)
    file = folder / "terrace.yaml"
    file.write_text(_file(chance))
    settings = load(file)
    memory = Memory(guard=GuardMemory(last_stop_s=LONG_S - 36_000), last_full_s=LONG_S - 36_000)
    bench = Bench(
        settings.plan, limits=settings.limits, care=settings.care, start="2026-06-21T00:00:00+01:00", memory=memory
    )
    written = 0
    with closing(Store(folder / "terrace.db", "boot-a")) as store:
        for _ in range(20):
            bench.pass_s(chance.uniform(0.02, 0.7) * DAY_S)
            _happen(chance, bench)
            new = [output.fact for _, output in bench.outputs[written:] if isinstance(output, Write)]
            written = len(bench.outputs)
            store.write(new)
            yield list(faces(settings, file, folder / "terrace.db", bench))


def _file(chance: Random) -> str:
    litres, holds = chance.randint(40, 300), chance.choice(["water", "solution"])
    return FILE.format(
        cycles=chance.randint(2, 8),
        seconds=chance.randint(40, 150),
        full=chance.randint(150, 300),
        drink=chance.uniform(0.2, 3.0),
        evaporates=chance.choice([0.0, chance.uniform(0.1, 6.0)]),
        top_up=chance.choice(["", f"top_up: {{tank: {litres} L, holds: {holds}}}\n"]),
    )


def _happen(chance: Random, bench: Bench) -> None:
    """One thing that people, floats or time do."""
    of, litres = chance.choice(["water", "solution"]), chance.uniform(5.0, 150.0)
    match chance.randrange(8):
        case 0:
            bench.order(OrderKind.REFILL, amounts=(Amount(of, litres, "L"),))
        case 1:
            bench.order(OrderKind.REFILL)
        case 2:
            bench.order(OrderKind.REFILL, is_renewal=True)
        case 3:
            bench.order(OrderKind.MEASURE, amounts=(Amount("sump", litres + 20.0, "L"),))
        case 4:
            bench.order(OrderKind.MEASURE, amounts=(Amount("EC", chance.uniform(1.0, 4.0), "mS/cm"),))
        case 5:
            bench.order(OrderKind.PAUSE, chance.uniform(600.0, DAY_S))
        case 6:
            bench.level(Input.SUMP_LOW, Level.BAD)
            bench.pass_s(chance.uniform(60.0, 7200.0))
            bench.level(Input.SUMP_LOW, Level.GOOD)


def faces(settings: Settings, file: Path, records: Path, bench: Bench) -> Iterator[Said]:
    """What each says now: the daemon first, then whoever reads its records or its messages."""
    now = status(bench.core.decisions, bench.core.guard, {}, bench.at, bench.at.long_s)
    sump, wall_s, bed = now.sump, bench.wall_s, bed_of(settings)
    assert sump is not None
    needs = sump.needs_water_at
    yield Said(
        "status",
        sump.litres,
        0.05,
        sump.days,
        0.005,
        None if needs is None else f"{needs:%Y-%m-%d}",
        tells_days=True,
    )
    yield _of_fleet(now, wall_s)
    yield _of_words("page", SUMP_CELL, Page(ask(site_of(file, now_s=wall_s)).text).words)
    yield _of_metrics(metrics([(bed, records)], wall_s))
    with Reader(records) as reader:
        for days in (0.5, 3.0):
            period = read_period(reader, bed, wall_s - days * DAY_S, wall_s, wall_s)
            yield _of_words(f"report of {days} days", PERIOD, Page(page_of_period(period)).words, is_always=False)
        yield _of_line(line(reader, bed, wall_s), needs)


def _of_fleet(now: Status, wall_s: float) -> Said:
    seen = fleet.take(fleet.Fleet(), "waaler/terrace/status", json.dumps(as_json(now)).encode(), wall_s)
    (row,) = fleet.rows(seen, wall_s)
    found = re.match(r"(\d+) L(?:, \D*(\d+ \w+))?", row["sump"])
    assert found, row
    return Said("fleet", float(found[1]), 0.5, day=found[2] and _day(f"{found[2]} 2026"))


def _of_words(face: str, pattern: re.Pattern[str], words: str, is_always: bool = True) -> Said:
    found = pattern.search(words)
    if found is None:
        assert not is_always, words
        return Said(face)
    days = found["days"]
    return Said(face, float(found["litres"]), 0.5, None if days is None else float(days), 0.05, tells_days=True)


def _of_metrics(text: str) -> Said:
    found = {
        sample.name: sample.value
        for family in text_string_to_metric_families(text)  # type: ignore[no-untyped-call]
        for sample in family.samples
    }
    return Said(
        "metrics", found["waaler_sump_litres"], 1e-6, found.get("waaler_sump_left_days"), 1e-3, tells_days=True
    )


def _of_line(text: str, needs_water_at: datetime | None) -> Said:
    """The line names the day of the week when it is near, else the date."""
    found = re.search(r"needs water about (\w+)(?: (\w+))?", text)
    if found is None:
        return Said("daily line", day="none" if needs_water_at else None)
    if found[2] is None and needs_water_at and f"{needs_water_at:%A}" == found[1]:
        return Said("daily line", day=f"{needs_water_at:%Y-%m-%d}")
    return Said("daily line", day=_day(f"{found[1]} {found[2]} 2026"))


def _day(text: str) -> str:
    for form in ("%d %b %Y", "%d %B %Y"):
        try:
            return f"{datetime.strptime(text, form):%Y-%m-%d}"
        except ValueError:
            continue
    return text


def differences(said: list[Said]) -> list[str]:
    """What faces say otherwise than the first of them, beyond what they round to."""
    first, *others = said
    return [difference for other in others if (difference := _difference(first, other))]


def _difference(first: Said, other: Said) -> str:
    within_l, within = first.litres_within + other.litres_within, first.days_within + other.days_within
    if other.litres is not None and _differ(first.litres, other.litres, within_l):
        return f"{first.face}: {first.litres} L, {other.face}: {other.litres} L"
    if other.tells_days and first.tells_days and _differ(first.days, other.days, within):
        return f"{first.face}: {first.days} days, {other.face}: {other.days} days"
    if other.day is not None and first.day != other.day:
        return f"{first.face}: needs water on {first.day}, {other.face}: {other.day}"
    return ""


def _differ(one: float | None, other: float | None, within: float) -> bool:
    return one != other if one is None or other is None else abs(one - other) > within + 1e-9
