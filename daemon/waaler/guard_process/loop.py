"""The guard's one loop: lines, pipe, sockets, deadlines. It waits for nothing but the next of them."""

import os
import signal
from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from pathlib import Path
from selectors import EVENT_READ, DefaultSelector
from typing import Any, Protocol

from waaler.bed.wiring import PumpPins
from waaler.devices.clock import Clock
from waaler.devices.pipe import (
    Beat,
    Began,
    Finish,
    Hello,
    Pipe,
    Ready,
    Reload,
    Report,
    Setup,
    Sure,
    Trouble,
    TroubleKind,
    Wires,
)  # fmt: skip
from waaler.devices.pump_lines import PumpLines
from waaler.guard import journal
from waaler.guard.codec import Misfit
from waaler.guard.journal import Found, Health
from waaler.guard.limits import within_ceilings
from waaler.guard.messages import Action, Cut, Flow, Granted, Instant, NewLimits, Stop
from waaler.guard.state import begin, memory_of
from waaler.guard_process.journal_file import JournalWriter
from waaler.guard_process.keeper_child import KeeperChild
from waaler.guard_process.manager import Manager
from waaler.guard_process.orders import OrderSocket
from waaler.guard_process.pump import Pump

__all__ = ["Bed", "Guard", "Lines", "Refusal"]

TICK_S = 1.0
REPORT_EVERY_S = 10.0
ALIVE_EVERY_S = 1800.0
"""The journal notes that the guard lives: ages over a power cut are known by that."""

OFFSET_S = 2.0
END_WITHIN_S = 8.0
JOURNAL_WITHIN_S = 2.0
JOURNAL_HANDED_S = 0.02
"""A grant waits no longer than one look at the inputs for its line to reach the kernel."""


class Refusal(Exception):
    """The guard cannot begin; says why. status: of the process."""

    def __init__(self, text: str, status: int = 1) -> None:
        super().__init__(text)
        self.status = status


class Lines(Protocol):
    """Where the lines come from: the Pi, or the simulated bed."""

    def open(self, pins: PumpPins, tell: Callable[[object], bool]) -> PumpLines:
        """Claims the pins, off. tell: says something to the keeper. Raises Refusal."""

    def move(self, wires: Wires) -> None:
        """Takes what simulated lines read."""

    def tell_relay(self) -> None:
        """Says how the relay's lines stand, to a keeper that has only now begun."""


@dataclass(frozen=True)
class Bed:
    """id, boot: of the bed and of this boot. found: of the journal."""

    id: str
    boot: str
    journal: Path
    socket: Path
    found: Found
    lines: Lines


class Guard:
    """Begins the keeper, opens the lines that it names, and keeps the pump until told to end."""

    def __init__(self, bed: Bed, keeper: KeeperChild, clock: Clock) -> None:
        self._bed, self._keeper, self._clock = bed, keeper, clock
        self._manager = Manager()
        self._selector = DefaultSelector()
        self._writer = JournalWriter(bed.journal, bed.found.health in (Health.FOREIGN, Health.NEWER))
        self._orders = OrderSocket(bed.socket, self._selector, self._answer)
        self._pump: Pump | None = None
        self._pins: PumpPins | None = None
        self._memory = journal.as_known_now(bed.found, bed.boot, clock.now())
        self._kept: tuple[object, ...] = ()
        self._kept_s = 0.0
        self._offset_s = 0.0
        self._tick_s = 0.0
        self._shown: object = None
        self._shown_s = 0.0
        self._is_ending = False
        self._dropped = 0
        self._reader: Pipe | None = None
        self._why_killed = self._last_keeper = ""
        self._troubles: dict[TroubleKind, str] = {}

    def run(self) -> int:
        """Until it is told to end; the status of the process. Raises what ends it; the relay was told off first."""
        self._catch_signals()
        self._writer.start()
        try:
            while not self._is_ending:
                self._turn()
            self._end_in_order()
        finally:
            self._off_at_last()
        return 0

    # --- the loop ----------------------------------------------------------------------------

    def _turn(self) -> None:
        now_s = self._clock.now().long_s
        due_s = min(self._tick_s, inf if self._pump is None else self._pump.due_s)
        ready = self._selector.select(max(0.0, due_s - now_s))
        if self._pump is not None:
            self._pump.look()
        for key, _ in ready:
            if key.fd in self._selector.get_map():  # one that was closed meanwhile says nothing
                key.data(self._clock.now().long_s)
        self._keep_journal()
        if self._clock.now().long_s >= self._tick_s:
            self._tick()

    def _tick(self) -> None:
        """Once a second: the service manager, the keeper, the sockets, and what people see."""
        now_s = self._clock.now().long_s
        self._tick_s = now_s + TICK_S
        self._manager.alive()
        self._orders.look(now_s)
        self._look_at_keeper(now_s)
        if now_s >= self._shown_s + REPORT_EVERY_S:
            self._shown = None
        self._report()

    def _look_at_keeper(self, now_s: float) -> None:
        if self._keeper.has_ended(now_s):
            self._keeper_ended()
        why = self._keeper.look()
        if why is not None:
            self._why_killed = why
            self._keeper.kill()
        if not self._keeper.is_there and now_s >= self._keeper.begin_at_s:
            self._begin_keeper(now_s)

    def _begin_keeper(self, now_s: float) -> None:
        self._keeper.begin(now_s)
        if self._keeper.pipe is not None:
            self._reader = self._keeper.pipe
            self._selector.register(self._reader, EVENT_READ, self._hear)
            self._troubles = {}
            memory = self._memory if self._pump is None else memory_of(self._pump.state)
            self._send(Hello(self._bed.found.health, memory, self._last_keeper, self._bed.id))

    def _keeper_ended(self) -> None:
        """Before it named the lines there is nothing to keep; afterwards it is begun again."""
        self._forget_reader()
        status = self._keeper.status
        if self._pump is None and status is not None:
            raise Refusal("", status if status > 0 else 1)
        self._last_keeper = self._why_killed or f"it ended with status {status}"
        self._why_killed = ""

    def _forget_reader(self) -> None:
        if self._reader is not None:
            self._selector.unregister(self._reader)
            self._reader = None

    # --- what the keeper says -----------------------------------------------------------------

    def _hear(self, _: float) -> None:
        pipe = self._keeper.pipe
        if pipe is None:
            return
        try:
            for message, _at in pipe.messages():
                self._take(message)
        except Misfit:
            self._dropped += 1
        except EOFError:
            self._forget_reader()  # its end follows

    def _take(self, message: Any) -> None:
        match message:
            case Setup():
                self._set_up(message)
            case Ready():
                self._keeper.heard()
                self._keeper.is_ready = True
                self._manager.ready()
            case Beat(status):
                self._keeper.heard()
                self._manager.status(status)
            case Sure(is_sure):
                self._clock.take(is_sure)
            case Wires():
                self._bed.lines.move(message)
            case NewLimits(limits) if self._pump is not None:
                self._pump.tell(NewLimits(within_ceilings(limits)))
                self._report()
            case _ if self._pump is not None:
                self._pump.tell(message)
                self._report()

    def _set_up(self, setup: Setup) -> None:
        """The first one opens the lines; later ones bring limits alone."""
        now = self._clock.now()
        if self._pump is None:
            found = self._bed.found
            memory = journal.with_records(found, self._memory, setup.records)
            lines = self._bed.lines.open(setup.pins, self._send)
            state = begin(within_ceilings(setup.limits), memory, now.long_s)
            self._pins, self._pump = setup.pins, Pump(lines, state, self._clock, self._say)
            self._pump.off()
        else:
            self._pump.tell(NewLimits(within_ceilings(setup.limits)))
        state = self._pump.state
        run = state.run
        running, until_s = (None, 0.0) if run is None else (run.run_id, run.until_s)
        self._send(Began(memory_of(state), running, until_s, must_restart=setup.pins != self._pins))
        self._shown = None
        self._report()
        self._bed.lines.tell_relay()
        self._keep_journal()

    # --- what is said -------------------------------------------------------------------------

    def _say(self, at: Instant, action: Action | Flow) -> None:
        if isinstance(action, Granted):  # nobody hears of a run that a kill of this process would make unknown
            self._keep_journal()
            self._writer.wait(JOURNAL_HANDED_S)
        self._send(action, at)

    def _send(self, message: Any, at: Instant | None = None) -> bool:
        pipe = self._keeper.pipe
        if pipe is None:
            return False
        if pipe.send(message, at or self._clock.now()):
            return True
        self._dropped += 1
        return False

    def _report(self) -> None:
        """The state as it is, when a part that people see has changed, and now and then."""
        if self._pump is None:
            return
        state = self._pump.state
        watches = tuple((watch.level, watch.trip, watch.hold_s, watch.good_since_s) for _, watch in state.watches)
        moving = (state.is_read_back_on, state.line_on_since_s, state.flow_l_per_min if state.run else None)
        shown = (state.run, state.locks, state.holds, state.limits, watches, moving)
        if shown == self._shown:
            return
        self._shown, self._shown_s = shown, self._clock.now().long_s
        self._send(Report(state, self._dropped))
        self._tell_troubles(self._pump)

    def _tell_troubles(self, pump: Pump) -> None:
        """Each when it begins, changes or is over."""
        troubles = {
            TroubleKind.RELAY_NOT_OFF: pump.off_problem,
            TroubleKind.JOURNAL_NOT_KEPT: self._writer.problem,
            TroubleKind.NO_STOP_SOCKET: self._orders.problem,
        }
        for kind, text in troubles.items():
            if text != self._troubles.get(kind, "") and self._send(Trouble(kind, text)):
                self._troubles[kind] = text

    def _keep_journal(self) -> None:
        """Hands the memory to the writer when something of it changed, and now and then as a sign of life."""
        if self._pump is None:
            return
        state, now = self._pump.state, self._clock.now()
        trips = tuple(watch.trip for _, watch in state.watches)
        kept = (
            state.spans, state.locks, trips, state.holds, state.seen, state.has_watered, state.last_run_id,
            state.reserved_run_id, state.ran, state.run and state.run.until_s, self._wall_offset_s(now),
            now.is_sure,
        )  # fmt: skip
        if kept == self._kept and now.long_s < self._kept_s + ALIVE_EVERY_S:
            return
        self._kept, self._kept_s = kept, now.long_s
        self._writer.put(journal.line(self._bed.id, self._bed.boot, now, memory_of(state)))

    def _wall_offset_s(self, now: Instant) -> float:
        """Between the two hands, as last noted: a wall clock that was set makes a line of its own, since ages over
        a power cut are told by it.
        """
        offset_s = now.wall_s - now.long_s
        if abs(offset_s - self._offset_s) > OFFSET_S:
            self._offset_s = offset_s
        return self._offset_s

    # --- the guard's own socket ----------------------------------------------------------------

    def _answer(self, asked: str, who: str) -> dict[str, Any]:
        pump = self._pump
        if pump is None:
            return {"ok": False, "text": "the guard waits for the keeper to read the file; nothing runs"}
        if asked == "stop":
            was_running = pump.state.run is not None
            pump.tell(Stop(who))
            self._report()
            what = "stopped" if was_running else "nothing was running"
            return {"ok": True, "text": f"{what}; the plan goes on with its next cycle"}
        if asked == "holds":
            return self._what_it_holds(pump)
        return {"ok": False, "text": f"no such order here: {asked:.20}"}

    def _what_it_holds(self, pump: Pump) -> dict[str, Any]:
        state, now_s = pump.state, self._clock.now().long_s
        run = None
        if state.run is not None:
            run = {"id": state.run.run_id, "seconds_left": round(max(0.0, state.run.until_s - now_s), 1)}
        return {
            "ok": True,
            "text": "nothing runs" if run is None else f"run {run['id']} is on for {run['seconds_left']} s more",
            "run": run,
            "locks": sorted(state.locks),
            "holds": [hold.kind.value for hold in state.holds],
            "has_keeper": self._keeper.is_ready,
            "off_problem": pump.off_problem,
        }

    # --- beginning and ending -------------------------------------------------------------------

    def _catch_signals(self) -> None:
        reader, writer = os.pipe()
        for end in (reader, writer):
            os.set_blocking(end, False)
        signal.set_wakeup_fd(writer, warn_on_full_buffer=False)
        self._selector.register(reader, EVENT_READ, lambda _: os.read(reader, 512))
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._told_to_end)
        signal.signal(signal.SIGHUP, lambda *_: self._send(Reload()))

    def _told_to_end(self, *_: object) -> None:
        self._is_ending = True

    def _end_in_order(self) -> None:
        """The relay off first; then the keeper writes down what it heard, and ends."""
        self._manager.stopping()
        if self._pump is not None:
            self._pump.tell(Cut("the daemon was stopped"))
        self._keep_journal()
        self._send(Finish())
        self._forget_reader()  # nothing is granted any more
        end_s = self._clock.now().long_s + END_WITHIN_S
        while self._keeper.is_there and (now_s := self._clock.now().long_s) < end_s:
            if self._pump is not None:
                self._pump.look()
            for key, _ in self._selector.select(0.02):
                key.data(now_s)
            self._keeper.has_ended(now_s)
        self._keeper.kill()
        self._keep_journal()
        self._writer.end(JOURNAL_WITHIN_S)

    def _off_at_last(self) -> None:
        """On every path: off is tried, and once more, before the lines are given back."""
        self._orders.close()
        if self._pump is None:
            return
        if not self._pump.off():
            self._pump.off()
        self._pump.close()
