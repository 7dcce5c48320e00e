"""A rehearsal before a judge, with everything that befalls a real guard.

Floats are sampled and vouched for no longer than the bed can't change; commits take their time; people order, edit
and set clocks; the guard stands still; journals are torn. The judge hears what truly happens, and what is said.
"""

from collections import deque
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import inf
from random import Random
from zoneinfo import ZoneInfo

from waaler.core import joined as core
from waaler.core.facts import Fact
from waaler.core.memory import Memory, after_loss
from waaler.core.messages import Look, NewPlan, Order, OrderKind, Recorded, ToGuard
from waaler.guard import journal
from waaler.guard.journal import NEVER, Found
from waaler.guard.messages import Granted, Input, Instant, Level, LevelRead, RelayRead, Reserve, Stop, Wake
from waaler.guard.messages import Message as GuardMessage
from waaler.rehearsal.accounts import Diary
from waaler.rehearsal.deeds import ClockStep, Deed, Edit, Ordered, Script, Trouble
from waaler.rehearsal.disk import Disk
from waaler.rehearsal.keeping import FileKeeping
from waaler.rehearsal.losses import Losses
from waaler.rehearsal.monitor import Monitor
from waaler.rehearsal.notebook import Notebook
from waaler.rehearsal.play import BED, CHATTER_S, Play
from waaler.rehearsal.scene import Scene
from waaler.rehearsal.witness import begun, heard, said, timetable_of

__all__ = ["Trial"]

POLL_ON_S, POLL_IDLE_S = 0.02, 0.2
"""As the guard reads its lines. Source: S13."""

CLOSE_S = 0.5
"""Once a float turned it is sampled as the guard does for so long."""

GLITCH_EVERY_S, GLITCH_S = 97.0, 0.1
LOOK_EVERY_S = 60.0
ALIVE_EVERY_S = 600.0
IDS_AHEAD = 1000


def _edges(troubles: tuple[Trouble, ...]) -> set[float]:
    return {edge for one in troubles for edge in (one.starts_s, one.ends_s)}


@dataclass(frozen=True, slots=True)
class Dated(core.Heard):
    at: Instant = NEVER


class Trial(Play):
    """judge: hears it all; `finish` lets it look into the history."""

    def __init__(self, scene: Scene, keeping: FileKeeping, judge: Monitor, script: Script = Script()) -> None:  # noqa: B008
        self.judge, self.script, self._file = judge, script, keeping
        self._notebook = Notebook(Random(scene.seed))
        self._disk = Disk(Random(scene.seed + 1))
        self._deeds = deque(script.deeds)
        self._edges = deque(sorted({edge for pair in script.stalls for edge in pair} | _edges(script.troubles)))
        self._troubles: frozenset[str] = frozenset()
        self._is_stalled = self._is_stuck = self._drove = False
        self._queued: list[GuardMessage] = []
        self._answers: list[Recorded] = []
        self._vouched_s = self._fast_until_s = -inf
        self._reserved = 0
        self._looked_s = 0.0
        self._wrong_by_s = 0.0
        self._befell: set[Trouble] = set()
        super().__init__(scene, keeping)
        self.core = core.with_wire_apart(core.with_disk_apart(self.core), True)
        self.losses = Losses(Diary(timetable_of(self.plan), self._at().wall_s))
        self._note()

    # --- time --------------------------------------------------------------------------------

    def _at(self, due_s: float = 0.0) -> Instant:
        at = super()._at(due_s)
        return replace(at, wall_s=at.wall_s + self.world.now_s * self.script.drift)

    def _next_s(self) -> float:
        now_s = self.world.now_s
        due = [super()._next_s(), self._deeds[0][0] if self._deeds else inf, self._edges[0] if self._edges else inf]
        if self.is_powered:
            due += [self._disk.done_s, self._next_poll_s()]
            if self._vouched_s > now_s:
                due.append(self._vouched_s)
            if self._answers:
                due.append(now_s)
            if self.script.drift != 0:
                due.append(self._looked_s + LOOK_EVERY_S)
        return max(min(due), now_s)

    def _next_poll_s(self) -> float:
        """When the lines are looked at though nothing in the world changes by itself."""
        now_s, is_on = self.world.now_s, self.core.guard.run is not None
        poll_s = now_s + (POLL_ON_S if is_on else POLL_IDLE_S)
        if self._is_stalled:
            return inf
        if now_s < self._fast_until_s or self._is_stuck:
            return poll_s
        if "float-glitches" in self._troubles:
            since_s = now_s % GLITCH_EVERY_S
            return now_s + (GLITCH_S - since_s if since_s < GLITCH_S - 1e-6 else GLITCH_EVERY_S - since_s)
        return inf

    @property
    def _guard_wake_s(self) -> float:
        return inf if self._is_stalled else super()._guard_wake_s

    @property
    def _is_wire_apart(self) -> bool:
        return True

    def _turn(self) -> None:
        now_s = self.world.now_s
        self.judge.time(now_s)
        self._look_at_stall()
        self._drove = False
        super()._turn()
        if self.script.drift != 0 and now_s >= self._looked_s + LOOK_EVERY_S:
            self._looked_s = now_s  # a clock that drifts makes every wait wrong; the keeper looks once a minute
            self._tell(Look())
        while self._deeds and self._deeds[0][0] <= now_s:
            self._do(self._deeds.popleft()[1])
        self._commit()
        if self._drove:
            self._see_floats()
        self._reserve_ids()
        if now_s >= self.losses.alive_s + ALIVE_EVERY_S and self._is_taking:
            self.losses.alive_s = now_s
            self._file.alive(self._at())

    def _look_at_faults(self) -> None:
        now_s = self.world.now_s
        while self._edges and self._edges[0] <= now_s:
            self._edges.popleft()
        self._troubles = frozenset(one.name for one in self.script.troubles if one.starts_s <= now_s < one.ends_s)
        super()._look_at_faults()
        self.losses.has_lost_words |= "messages-lost" in self.world.present
        while not self.is_powered and self._deeds and self._deeds[0][0] <= now_s:
            self._deeds.popleft()  # nobody hears it
        if self.is_powered and not self.is_sure and "no-clock" not in self.world.present:
            self._is_told_the_time()

    def _set_clock(self, by_s: float) -> None:
        super()._set_clock(by_s)
        if not self.is_powered:
            self.losses.unseen_step_s += abs(by_s)

    def _is_told_the_time(self) -> None:
        self.losses.diary.passes(self._at().wall_s)
        self.wall_offset_s -= self._wrong_by_s
        self._wrong_by_s, self.is_sure = 0.0, True
        self.losses.diary.begins(self._at().wall_s)
        self._tell(Look())

    def _look_at_stall(self) -> None:
        now_s = self.world.now_s
        is_stalled = any(start_s <= now_s < end_s for start_s, end_s in self.script.stalls)
        if is_stalled == self._is_stalled:
            return
        self._is_stalled = is_stalled
        self.judge.stall(now_s, is_stalled)
        if is_stalled:
            return
        self.levels, self._vouched_s, self.shown = {}, -inf, None
        self._see_floats()
        self._see_what_moves()
        queued, self._queued = self._queued, []
        for message in queued:
            self._tell_guard(message)

    # --- people ------------------------------------------------------------------------------

    def _do(self, deed: Deed) -> None:
        match deed:
            case Ordered(OrderKind.REFILL):
                self.notes.refilled(self.world.fill())
                self._tell(Order(0, OrderKind.REFILL, "a person"))
            case Ordered(kind, _, True):
                assert kind is OrderKind.STOP
                self._tell_guard(Stop("a person"))
            case Ordered(kind, seconds):
                self._tell(Order(0, kind, "a person", seconds))
            case Edit(plan, limits):
                self._edit(plan, limits)
            case ClockStep(seconds):
                self.losses.clock_set(self.world.now_s, seconds, self._at().wall_s)
                self._set_clock(seconds)
                self._tell(Look())
                self._note()

    def _edit(self, plan: object, limits: object) -> None:
        edit = Edit(plan, limits)  # type: ignore[arg-type]
        wall_s = self._at().wall_s
        local = datetime.fromtimestamp(wall_s, ZoneInfo(edit.plan.place.timezone))
        midnight = datetime.combine(local.date() + timedelta(days=1), datetime.min.time(), local.tzinfo)
        self.plan, self.limits = edit.plan, edit.limits
        self._tell(NewPlan(edit.plan, self.scene.sensing, edit.limits))
        self.losses.diary.edit(wall_s, timetable_of(edit.plan), midnight.timestamp() - 1.0)

    def _reserve_ids(self) -> None:
        following = self.core.decisions.runs.next_run_id
        if following + IDS_AHEAD / 2 > self._reserved:
            self._reserved = following + IDS_AHEAD
            self._tell_guard(Reserve(self._reserved))

    # --- the guard ---------------------------------------------------------------------------

    def _see_floats(self) -> None:
        if self._is_stalled:
            return
        now_s = self.world.now_s
        until_s = min(self.world.next_s(), self._edges[0] if self._edges else inf, self._next_poll_s())
        if self.world.chatters:
            until_s = now_s + CHATTER_S
        for name, level in self._read_floats().items():
            is_new = self.levels.get(name) is not level
            if is_new:
                self.levels[name] = level
                self._fast_until_s = now_s + CLOSE_S
                self.judge.level(now_s, name.value, level.value)
            if is_new or until_s != self._vouched_s:
                self._tell_guard(LevelRead(name, level, until_s - self.booted_s))
        self._vouched_s = until_s
        if self._is_stuck or self.core.guard.line_on_since_s is not None:
            self._tell_guard(RelayRead(self._is_stuck))

    def _read_floats(self) -> dict[Input, Level]:
        levels = super()._read_floats()
        if "float-glitches" in self._troubles and self.world.now_s % GLITCH_EVERY_S < GLITCH_S - 1e-6:
            levels = {name: Level.BAD if level is Level.GOOD else level for name, level in levels.items()}
        return levels

    def _see_what_moves(self) -> None:
        if not self._is_stalled:
            super()._see_what_moves()

    def _tell_guard(self, message: GuardMessage, due_s: float = 0.0) -> None:
        if self._is_stalled:
            if not isinstance(message, Wake):
                self._queued.append(message)
            return
        said(self.judge, self.world.now_s, self.booted_s, message)
        super()._tell_guard(message, due_s)
        self._note()

    def _take(self, answer: tuple[core.Joined, list[core.Output]]) -> None:
        """A grant is told before the relay moves, everything else after it."""
        told = [output.message for output in answer[1] if isinstance(output, core.Heard)]
        now_s, booted_s = self.world.now_s, self.booted_s
        for action in told:
            if isinstance(action, Granted):
                heard(self.judge, now_s, booted_s, action)
        super()._take(answer)
        for action in told:
            if not isinstance(action, Granted):
                heard(self.judge, now_s, booted_s, action)

    def _drive(self, main: bool, cutoff: bool) -> None:
        is_off = not (main or cutoff)
        is_alone = main is not cutoff
        if is_off and "relay-sticks" in self._troubles and self.is_powered and (self.world.is_on or self._is_stuck):
            self._is_stuck = True
        else:
            if self._is_stuck and is_off:
                self._is_stuck = False
                self.judge.line(self.world.now_s, False)
            super()._drive(main, cutoff)
        self._drove = True
        self.judge.relay(self.world.now_s, not is_off, 6.0 if is_alone else 0.0)

    def _note(self) -> None:
        if self._notebook.note(self._boot, self._at(), self.core.guard):
            self.losses.noted_s = self.world.now_s

    # --- the records -------------------------------------------------------------------------

    @property
    def _is_taking(self) -> bool:
        return "disk-full" not in self.world.present and "database-held" not in self._troubles

    def _keep(self, facts: list[Fact]) -> None:
        if facts:
            self._disk.put(facts)
            self._commit()

    def _commit(self) -> None:
        said = self._disk.look(self.world.now_s, self._is_taking, "commits-slow" in self._troubles)
        kept = self._disk.take()
        self.losses.has_history |= bool(kept)
        self._file.keep(kept)
        self._answers += said

    def _carry(self, message: ToGuard | core.Heard) -> None:
        """What the guard says bears the instant at which it said it."""
        super()._carry(Dated(message.message, self._at()) if isinstance(message, core.Heard) else message)

    def _deliver(self) -> None:
        """What waits on the wire and is due, until nothing is: what is said in answer is due at once."""
        for _ in range(100):
            answers, self._answers = self._answers, []
            due = [*answers, *self.wire.due(self.world.now_s)]
            if not due:
                return
            for message in due:
                match message:
                    case ToGuard(said):
                        self._tell_guard(said)
                    case Dated(said, at):
                        self._refresh()
                        self._take(core.tell(self.core, at, said))
                    case Recorded():
                        self._tell(message)

    # --- power -------------------------------------------------------------------------------

    def _power_fails(self) -> None:
        now_s = self.world.now_s
        self.judge.power(now_s, False)
        self._is_stuck = self._is_stalled = False
        self._queued, self._answers = [], []
        self.losses.power_fails(now_s, self._at().wall_s, self.booted_s, self._disk.cut())
        super()._power_fails()
        self.judge.line(now_s, False)

    def _power_is_back(self) -> None:
        self._reserved = 0
        self._vouched_s = self._fast_until_s = -inf
        if "no-clock" in self.world.present and self._wrong_by_s == 0:
            self._wrong_by_s = self.script.wrong_by_s
            self.wall_offset_s += self._wrong_by_s
        elif "no-clock" not in self.world.present and self._wrong_by_s != 0:
            self.wall_offset_s -= self._wrong_by_s
            self._wrong_by_s = 0.0
        was_sure = self.is_sure
        super()._power_is_back()
        self.core = core.with_wire_apart(core.with_disk_apart(self.core), True)
        self.losses.power_is_back(self._at().wall_s, was_sure and self.is_sure)
        self._note()

    def _memory(self, at: Instant) -> Memory:
        present = self.world.present
        self.journal = self._notebook.bytes(self._befalls())
        found = journal.read(self.journal, BED)
        is_lost = "database-lost" in present
        if is_lost:
            self._file.lose()
        self.losses.starts(self.world.now_s, at.wall_s, is_lost, self._is_taking)
        self._tell_of_memory(found, at)
        is_read = not is_lost and self._is_taking
        self.losses.is_read_on(self.world.now_s, is_read)
        if is_read:
            return self._file.memory(self._boot, at, found)
        self._file.reopen(self._boot)
        lost = after_loss(self.plan, at)
        guard = journal.with_records(found, journal.as_known_now(found, self._boot, at), lost.guard)
        return replace(lost, guard=guard)

    def _tell_of_memory(self, found: Found, at: Instant) -> None:
        """What the judge may ask of a guard that begins with this."""
        now_s = self.world.now_s
        known = self.losses.remembered(found, at, now_s, self.script.drift)
        begun(self.judge, now_s, self.limits)
        self.judge.power(now_s, True, known.memory, known.fuzz_s, known.uncounted_s)

    def _befalls(self) -> set[str]:
        """The troubles that this start meets. Each befalls the journal once: a start begins it anew."""
        here = {one for one in self.script.troubles if one.starts_s <= self.world.now_s < one.ends_s}
        new, self._befell = here - self._befell, self._befell | here
        return {one.name for one in new}

    # --- the end -----------------------------------------------------------------------------

    def finish(self) -> None:
        """The judge looks into the history."""
        judge, now_s, wall_s = self.judge, self.world.now_s, self._at().wall_s
        judge.time(now_s)
        if self.is_powered:
            self.losses.diary.passes(wall_s)
            self._file.keep(self._disk.unkept)
        end_s = now_s if self.is_powered else None
        judge.violations += self.losses.judge(judge.spans, self._file.rows(), end_s, wall_s, judge.wire_s)
