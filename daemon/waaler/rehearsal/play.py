"""Plays a plan on the simulated bed: the same core as the daemon's, stepped from event to event.

Time jumps to whatever comes next: the core's own wake times, the next reading, and, while water moves, the next
small step of the bed. Power that fails ends the core; when it is back a new one begins with what the records know.
"""

from collections.abc import Callable
from dataclasses import replace
from math import inf
from operator import truediv
from random import Random
from statistics import median
from zoneinfo import ZoneInfo

from waaler.core import joined as core
from waaler.core.alert import AlertKind
from waaler.core.facts import Fact
from waaler.core.memory import Memory, after_loss
from waaler.core.messages import Look, Message, Order, OrderKind, Readings, ToGuard, Write
from waaler.core.state import Setup
from waaler.guard import journal
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Alone, Contact, Flow, Input, Instant, Level, LevelRead, ReadBack, Relay, Wake
from waaler.guard.messages import Message as GuardMessage
from waaler.guard.state import memory_of
from waaler.model.world import World
from waaler.plan.sensing import UNITS, Reading
from waaler.rehearsal.mains import Mains
from waaler.rehearsal.noting import Notes
from waaler.rehearsal.outside import Keeping
from waaler.rehearsal.rules import DAY_S
from waaler.rehearsal.scene import Findings, Scene
from waaler.rehearsal.wire import FAULTS as WIRE_FAULTS
from waaler.rehearsal.wire import Wire
from waaler.report.period import POTS

__all__ = ["Play"]

BED = "rehearsal"
FRESH_S = 60.0
READ_EVERY_S = 240.0
READ_SELDOM_S = 3600.0
"""Sensors are read before anybody decides by them, if the last reading is older than the first; besides, after the
second while something is wrong or a sensor may ask for water, else after the third."""

LONG_DAYS = 60.0
"""A longer rehearsal keeps a sample an hour, instead of one in ten minutes."""

ASKS_FOR_WATER = frozenset({AlertKind.REFILL_DUE, AlertKind.SUMP_LOW, AlertKind.LOW_IN_RUNS})
CHATTER_S = 0.05
VOUCHED_S = 1e15
"""Nothing holds the guard up in a plain rehearsal: its floats are read without a gap until they say otherwise. A
trial before a judge reads them as the guard does.
"""

STEP_S = 3600.0
MOST_STILL = 10_000


class Play:
    """One rehearsal. keeping: the records. plan, limits: in force, in case somebody edits them."""

    def __init__(self, scene: Scene, keeping: Keeping | None = None) -> None:
        self.scene, self.keeping = scene, keeping
        self.plan = scene.plan
        local = scene.start.astimezone(ZoneInfo(scene.plan.place.timezone))
        self.limits = limits = scene.limits
        hour = local.hour + local.minute / 60
        self.world = World(
            scene.bed(),
            scene.faults,
            hour,
            scene.seed,
            limits.has_cutoff,
            scene.skies,
            {probe.name: probe for probe in scene.probes},
            scene.named_pots(),
        )
        self.wire = Wire(Random(scene.seed))
        self.shown: tuple[bool, float] | None = None
        self.wall_offset_s = scene.start.timestamp()
        self.is_powered = True
        self.is_sure = True
        self.boots = 1
        self.unkept: list[Fact] = []
        self.booted_s = 0.0
        self.journal = b""
        self.read_s = -inf
        self.sampled_s = -inf
        self.sample_every_s = 600.0 if scene.days <= LONG_DAYS else 3600.0
        self.is_asking = any(window.on_demand for window in scene.plan.windows)
        self.mains = Mains()
        self.still = 0
        self.levels: dict[Input, Level] = {}
        self.was_present: frozenset[str] = frozenset()
        self.notes = Notes(scene, self.world)
        self.is_driven = False
        self.told_s: float | None = None
        # the bed was watered in full just before, the sump filled, and the pump has rested
        guard = GuardMemory(last_stop_s=-scene.limits.rest_s)
        self.core = self._begin(Memory(guard=guard, last_full_s=0.0), self._at())

    def _begin(self, memory: Memory, at: Instant) -> core.Joined:
        scene = self.scene
        setup = Setup(self.plan, scene.sensing, self.limits, scene.care, scene.thirst)
        return core.begin(setup, memory, at)

    def run(self, progress: Callable[[float], object] | None = None) -> Findings:
        """Plays to the end. progress: called with the days played so far."""
        end_s = self.scene.days * DAY_S
        self._look_at_faults()
        self._see_floats()
        self._tell(Look())
        while self.world.now_s < end_s:
            self._go_to(min(self._next_s(), end_s))
            assert self.still < MOST_STILL, f"the rehearsal stands still at {self.world.now_s} s"
            self._look_at_faults()
            if self.is_powered:
                self._turn()
            if progress is not None:
                progress(self.world.now_s / DAY_S)
        return self.notes.finish()

    # --- time --------------------------------------------------------------------------------

    def _at(self, due_s: float = 0.0) -> Instant:
        """By the hands of the Pi: its long hand begins anew at each boot.

        due_s: a wake time that has come, which no rounding shall miss.
        """
        long_s = max(self.world.now_s - self.booted_s, due_s)
        return Instant(long_s, self.wall_offset_s + self.world.now_s, self.is_sure)

    def _next_s(self) -> float:
        due = [self.world.next_s(), self.mains.next_s]
        if self.is_powered:
            due += [self._wake_s, self._guard_wake_s, self._read_at_s]
            due.append(self.wire.next_s)
            if self.keeping is not None:
                due.append(self.sampled_s + self.sample_every_s)
            if self.told_s is not None:
                due.append(self.told_s + self.scene.refill_after_s)
            if self.world.chatters:
                due.append(self.world.now_s + CHATTER_S)
        return max(min(due), self.world.now_s)

    @property
    def _wake_s(self) -> float:
        """When the decisions are to be woken."""
        return self.booted_s + self.core.wake_s

    @property
    def _guard_wake_s(self) -> float:
        return self.booted_s + self.core.guard_wake_s

    @property
    def _read_at_s(self) -> float:
        is_close = self.is_asking or bool(self.world.present)
        return self.read_s + (READ_EVERY_S if is_close else READ_SELDOM_S)

    def _turn(self) -> None:
        now_s = self.world.now_s
        self._see_floats()
        self._see_what_moves()
        self._deliver()
        self._look_at_person()
        if now_s >= self._guard_wake_s:
            self._tell_guard(Wake(), self.core.guard_wake_s)
        if now_s >= self._read_at_s:
            self._read_advisers()
        if now_s >= self._wake_s:
            self._refresh(self.core.wake_s)
        if now_s >= self._wake_s:
            self._take(core.tell(self.core, self._at(self.core.wake_s), Look()))
        if self.keeping is not None and now_s >= self.sampled_s + self.sample_every_s:
            self._sample(self.keeping)

    def _go_to(self, now_s: float) -> None:
        seconds = now_s - self.world.now_s
        self.still = self.still + 1 if seconds <= 0 else 0
        self.world.go_to(now_s)
        self.notes.passed(seconds)

    # --- faults of power, clock and disk -----------------------------------------------------

    def _look_at_faults(self) -> None:
        present = self.world.present
        begun = present - self.was_present
        self.was_present = present
        if begun & {"clock-back", "clock-ahead"}:
            self._set_clock(STEP_S if "clock-ahead" in begun else -STEP_S)
        self.core = core.with_disk(self.core, is_full="disk-full" in present)
        self.core = core.with_wire_apart(self.core, self._is_wire_apart)
        has_power = self.mains.look(self.world.now_s, present)
        if self.is_powered and not has_power:
            self._power_fails()
        elif has_power and not self.is_powered:
            self._power_is_back()

    def _set_clock(self, by_s: float) -> None:
        self.wall_offset_s += by_s

    @property
    def _is_wire_apart(self) -> bool:
        return bool(self.world.present & WIRE_FAULTS) or bool(self.wire.waiting)

    def _power_fails(self) -> None:
        self.is_powered = False
        self.journal = journal.line(BED, self._boot, self._at(), memory_of(self.core.guard))
        self.unkept = []
        self.wire.cut()
        self.shown = None
        self._drive(main=False, cutoff=False)

    def _power_is_back(self) -> None:
        self.is_powered = True
        self.is_sure = "no-clock" not in self.world.present
        self.boots += 1
        self.booted_s = self.world.now_s
        at = self._at()
        memory = self._memory(at)
        self.core = self._begin(memory, at)
        self.levels = {}

    def _memory(self, at: Instant) -> Memory:
        """What a start finds: the guard's journal by its bytes, and beside it the records.

        A disk that takes nothing at a start counts as lost records, as in the daemon.
        """
        found = journal.read(self.journal, BED)
        is_lost = "database-lost" in self.world.present
        if self.keeping is not None and is_lost:
            self.keeping.lose()
        if self.keeping is not None and not is_lost and "disk-full" not in self.world.present:
            return self.keeping.memory(self._boot, at, found)
        lost = after_loss(self.scene.plan, at)
        guard = journal.with_records(found, journal.as_known_now(found, self._boot, at), lost.guard)
        return replace(lost, guard=guard)

    @property
    def _boot(self) -> str:
        return f"boot-{self.boots}"

    # --- sensors -----------------------------------------------------------------------------

    def _see_floats(self) -> None:
        for name, level in self._read_floats().items():
            if self.levels.get(name) is not level:
                self.levels[name] = level
                self._tell_guard(LevelRead(name, level, VOUCHED_S))

    def _read_floats(self) -> dict[Input, Level]:
        levels = self.world.levels()
        if self.world.chatters and self.levels.get(Input.SUMP_LOW) is Level.GOOD:
            levels[Input.SUMP_LOW] = Level.BAD
        if levels[Input.SUMP_LOW] is not Level.GOOD:
            self.notes.float_fell()
        return levels

    def _see_what_moves(self) -> None:
        """Supply and meter, whenever they change, and the meter again while water moves."""
        limits, world = self.limits, self.world
        shown = (world.is_live, world.flow_l_per_min)
        is_new = shown != self.shown
        self.shown = shown
        if limits.has_read_back and is_new:
            self._tell_guard(ReadBack(shown[0]))
        if limits.normal_flow_l_per_min is not None and (is_new or shown[1] > 0):
            self._tell_guard(Flow(shown[1]))

    def _look_at_person(self) -> None:
        """Whoever is told that a refill is due or the sump low comes after a while, fills it, and enters that."""
        if self.told_s is None:
            if self.core.decisions.alerts.standing.keys() & ASKS_FOR_WATER:
                self.told_s = self.world.now_s
        elif self.world.now_s >= self.told_s + self.scene.refill_after_s:
            self.told_s = None
            litres = self.world.fill()
            self.notes.refilled(litres)
            self._tell(Order(0, OrderKind.REFILL, "the rehearsal", litres=litres))

    def _deliver(self) -> None:
        """What a faulty wire kept back and is due now."""
        for message in self.wire.due(self.world.now_s):
            if isinstance(message, ToGuard):
                self._tell_guard(message.message)
            else:
                self._tell(message.message)

    def _read_advisers(self, due_s: float = 0.0) -> None:
        """All at one time. Whoever hears of them looks at everything else too."""
        self.read_s = self.world.now_s
        advisers = self.scene.sensing.advisers
        if advisers:
            readings = tuple(Reading(adviser.name, self.world.reading(adviser)) for adviser in advisers)
            self._take(core.tell(self.core, self._at(due_s), Readings(readings)))

    def _refresh(self, due_s: float = 0.0) -> None:
        """Whoever decides now does so by sensors that were just read, as in the daemon."""
        if self.world.now_s - self.read_s > FRESH_S:
            self._read_advisers(due_s)

    def _sample(self, keeping: Keeping) -> None:
        self.sampled_s = self.world.now_s
        if self.core.is_disk_full:
            return
        wall_s = self._at().wall_s
        for state in self.core.decisions.advice.advisers:
            if state.value is not None:
                keeping.sample(state.adviser.name, UNITS[state.adviser.kind], wall_s, state.value)
        keeping.sample("sump", "L", wall_s, self.world.water.sump_l)
        shares = sorted(map(truediv, self.world.water.media_l, self.world.bed.pots_l))
        for name, share in zip(POTS, (shares[0], median(shares), shares[-1]), strict=True):
            keeping.sample(name, "%", wall_s, 100 * share)

    # --- the core ----------------------------------------------------------------------------

    def _tell(self, message: Message, due_s: float = 0.0) -> None:
        self._refresh()
        self._take(core.tell(self.core, self._at(due_s), message))

    def _tell_guard(self, message: GuardMessage, due_s: float = 0.0) -> None:
        self._refresh()
        self._take(core.tell_guard(self.core, self._at(due_s), message))

    def _take(self, answer: tuple[core.Joined, list[core.Output]]) -> None:
        self.core, outputs = answer
        facts: list[Fact] = []
        for output in outputs:
            if isinstance(output, Relay):
                self._drive(main=output.on, cutoff=output.on)
            elif isinstance(output, Alone):
                self._drive(main=output.contact is Contact.MAIN, cutoff=output.contact is Contact.CUTOFF)
            elif isinstance(output, ToGuard | core.Heard):
                self._carry(output)
            elif isinstance(output, Write):
                facts.append(output.fact)
        self._keep(facts)
        for fact in facts:
            self.notes.take(fact)
        if self.is_driven:
            self.is_driven = False
            self._see_what_moves()

    def _carry(self, message: ToGuard | core.Heard) -> None:
        self.wire.carry(message, self.world.now_s, self.world.present)

    def _keep(self, facts: list[Fact]) -> None:
        """What a full disk refuses waits in memory until it takes again."""
        self.unkept += facts
        if self.unkept and self.keeping is not None and not self.core.is_disk_full:
            self.keeping.keep(self.unkept)
            self.unkept = []

    def _drive(self, main: bool, cutoff: bool) -> None:
        self.world.drive(main, cutoff)
        self.is_driven = True
