"""A random week of a bed, written into records as the daemon would: people, floats, probes, locks and restarts."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from random import Random

from tests.core.bench import Bench
from tests.faces.said import Asked, Said, faces
from tests.records.facts import whole_run

from waaler.core import joined
from waaler.core.facts import Act, Amount, Deed
from waaler.core.memory import Memory
from waaler.core.messages import OrderKind, Write
from waaler.core.state import Setup
from waaler.core.status import Present
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input, Instant, Level, RelayRead
from waaler.guard.state import memory_of
from waaler.keeper.status import noted
from waaler.records.store import Sample, Store
from waaler.settings import load

__all__ = ["play_week"]

DAY_S = 86_400.0
LONG_S = 100_000.0
MOMENTS = 20
HOLDS = (OrderKind.PAUSE, OrderKind.SERVICE, OrderKind.ATTEND, OrderKind.SOAK)
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
sensing:
  probes: [{{name: pot_3, channel: 0, calibration: {{dry: 820, wet: 380}}}}]
{gauge}{top_up}"""
GAUGE = "  levels: [{name: sump, channel: 1, points: [[0, 0 L], [1000, 320 L]]}]\n"


def play_week(folder: Path, seed: int) -> Iterator[list[Said]]:
    """What all faces say, some twenty times in a week. folder: empty; where records of the bed belong."""
    week = _Week(folder, Random(seed))
    with closing(Store(folder / "terrace.db", "boot-a")) as store:
        week.begin(store)
        for _ in range(MOMENTS):
            week.go_on()
            week.write()
            yield list(faces(week.asked, week.present))


class _Week:
    """A bench whose facts, samples and present stand in records."""

    def __init__(self, folder: Path, chance: Random) -> None:
        self._chance = chance
        file = folder / "terrace.yaml"
        file.write_text(_file(chance))
        settings = load(file)
        self._is_new = chance.random() < 0.2
        guard = GuardMemory(last_stop_s=LONG_S - 36_000, has_watered=not self._is_new)
        self._bench = Bench(
            settings.plan,
            sensing=settings.sensing,
            limits=settings.limits,
            care=settings.care,
            start="2026-06-21T00:00:00+01:00",
            memory=Memory(guard=guard, last_full_s=None if self._is_new else LONG_S - 36_000, next_run_id=2),
        )
        if self._is_new:
            self._start(Memory(guard=guard))
        self.present: Present | None = None
        self._written = 0
        self.asked = Asked(settings, file, folder / "terrace.db", self._bench)

    def begin(self, store: Store) -> None:
        """A bed that is not new has had a run ten hours before."""
        self._store, at = store, self._bench.at
        if not self._is_new:
            ended_s = at.wall_s - 36_000 + (LONG_S - at.long_s)
            store.write(whole_run(1, 0.0, run_at=Instant(LONG_S - 36_120, ended_s - 120)))
        store.write([Deed(at, Act.START, "the daemon started")])

    def go_on(self) -> None:
        """Time passes, and one thing happens."""
        chance, bench = self._chance, self._bench
        bench.pass_s(chance.uniform(0.02, 0.7) * DAY_S)
        if chance.random() < 0.6:
            self._help()
        self._happen()
        bench.pass_s(chance.choice([1.0, 1.0, chance.uniform(1.0, 1200.0)]))
        self._read()

    def write(self) -> None:
        """What the recorder would: facts, that the daemon lives, and what the bed does now."""
        bench = self._bench
        facts = [output.fact for _, output in bench.outputs[self._written :] if isinstance(output, Write)]
        self._written = len(bench.outputs)
        now = noted(self.present, bench.core.decisions, bench.core.guard, bench.at)
        if now is not None:
            self.present = now.present
            facts.append(now)
        self._store.write(facts)
        self._store.alive(bench.at)

    def _help(self) -> None:
        """Somebody puts right what stands in the way, or walks through the commissioning of a new bed."""
        bench = self._bench
        if bench.core.guard.locks:
            bench.order(OrderKind.CLEAR)
        walks = bench.core.decisions.proving.unproven and self._chance.random() < 0.3
        for level in (Level.BAD, Level.GOOD) if walks else (Level.GOOD,):
            for name in Input:
                bench.level(name, level)
            bench.pass_s(1.0)

    def _happen(self) -> None:
        """One thing that people, floats, power or time do."""
        chance, bench = self._chance, self._bench
        of, litres = chance.choice(["water", "solution"]), chance.uniform(5.0, 150.0)
        match chance.randrange(14):
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
            case 5 | 6 | 7 | 8 as n:
                bench.order(HOLDS[n - 5], chance.uniform(600.0, 43_000.0))
            case 9:
                bench.order(OrderKind.RESUME)
            case 10:
                bench.order(OrderKind.WATER, chance.uniform(20.0, 120.0))
            case 11:
                self._float_falls()
            case 12:
                for _ in range(2):
                    bench.tell_guard(RelayRead(is_on=True))
                    bench.pass_s(0.3)
                bench.tell_guard(RelayRead(is_on=False))
            case 13:
                self._restart()

    def _float_falls(self) -> None:
        """For a while, or until somebody lifts it."""
        name = self._chance.choice(list(Input))
        self._bench.level(name, Level.BAD)
        self._bench.pass_s(self._chance.uniform(1.0, 7200.0))
        if self._chance.random() < 0.6:
            self._bench.level(name, Level.GOOD)

    def _read(self) -> None:
        """The sensors, in the minute before somebody asks; a gauge that is not quite right."""
        bench, minute_s = self._bench, self._bench.wall_s - self._bench.wall_s % 60
        values = {"pot_3": self._chance.uniform(30.0, 100.0), "sump": self._chance.uniform(30.0, 250.0)}
        for state in bench.core.decisions.advice.advisers:
            name, unit = state.adviser.name, "L" if state.adviser.name == "sump" else "%"
            bench.read(values[name], name)
            value = values[name]
            self._store.write_samples([Sample(name, unit, minute_s, value, value, value)])

    def _restart(self) -> None:
        """Both processes begin again, from journal and records."""
        bench = self._bench
        self.write()
        guard = memory_of(bench.core.guard)
        self._store.write(self._store.unended(bench.at, guard))
        self._store.write([Deed(bench.at, Act.START, "the daemon started")])
        memory = self._store.memory(bench.at)
        self._start(replace(memory, guard=guard, next_run_id=max(memory.next_run_id, guard.last_run_id + 1)))
        self.present = None

    def _start(self, memory: Memory) -> None:
        bench = self._bench
        levels = {name: watch.level for name, watch in bench.core.guard.watches}
        setup = Setup(bench.plan, bench.sensing, bench.limits, bench.care, must_be_proven=self._is_new)
        bench.core = joined.begin(setup, memory, bench.at)
        for name, level in levels.items():
            bench.level(name, level or Level.NOT_READ)


def _file(chance: Random) -> str:
    litres, holds = chance.randint(40, 300), chance.choice(["water", "solution"])
    return FILE.format(
        cycles=chance.randint(2, 8),
        seconds=chance.randint(40, 150),
        full=chance.randint(150, 300),
        drink=chance.uniform(0.2, 3.0),
        evaporates=chance.choice([0.0, chance.uniform(0.1, 6.0)]),
        gauge=chance.choice(["", GAUGE]),
        top_up=chance.choice(["", f"top_up: {{tank: {litres} L, holds: {holds}}}\n"]),
    )
