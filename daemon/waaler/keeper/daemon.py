"""The daemon: opens everything in the order that keeps the pump safe, joins the threads, and closes it all.

The relay is claimed off before anything else is read; the lock file comes before the relay, so that two daemons
never share one.
"""

import signal
import threading
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any

import structlog

from waaler.core import decisions
from waaler.core.facts import Deed, Severity
from waaler.core.messages import Look, Notice
from waaler.core.texts import loose, not_told
from waaler.devices.bench import Bench
from waaler.guard.messages import Cut, Instant, Stop
from waaler.keeper.child import NotifyChild
from waaler.keeper.clock import Clock, boot_id, long_s
from waaler.keeper.control import ControlSocket
from waaler.keeper.guard_thread import GuardThread
from waaler.keeper.keeper import Keeper
from waaler.keeper.liveness import Manager, Stillness
from waaler.keeper.opening import hold_lock, in_force, open_pi, open_simulated, switch_off_first
from waaler.keeper.panel import PanelThread, View
from waaler.keeper.recorder import Recorder
from waaler.keeper.reload import PLAN_REJECTED, RESTART, reload
from waaler.keeper.restore import Files, restore
from waaler.keeper.scheduler import CycleWaker
from waaler.keeper.senses import Senses
from waaler.keeper.status import UNITS, one_line, status
from waaler.keeper.watch_file import FileWatch
from waaler.plan.timetable import upcoming
from waaler.records.store import Store
from waaler.settings import Settings
from waaler.settings.places import runtime_folder, state_folder

__all__ = ["run"]

CLOCK_EVERY_S = 60.0
FRESH_BEAT_S = 2.5
HANGS_AFTER_LOOKS = 6
"""Guard and keeper look at each other's beat once a second; one that stood still for so many looks hangs."""

STEP_S = 1.0
OF_THE_LAST_DAEMON = ("part-failed-", RESTART, PLAN_REJECTED)
END_WAIT_S = 3.0
ANNOUNCE_S = 15.0
"""A start after a trip, a boot or a pause is announced so long by light and buzzer. Common practice, no source."""

NOT_COMMISSIONED = "not commissioned, which the file accepts: nobody need have seen the floats in both states"

log = structlog.get_logger()


def run(
    file: Path,
    is_simulated: bool = False,
    relay_trace: int | None = None,
    is_new: bool = False,
    mishap: str | None = None,
) -> int:
    """Keeps the bed until it is told to stop; 0 then, 1 after an error that the unit should restart from.

    is_new: take a simulated bed for one that was never commissioned. mishap: what is wrong with its wiring.
    relay_trace: an inherited pipe that is told each change of the simulated relay.

    Raises: SettingsError for a bad file where no accepted one is kept; AlreadyRunning; NoLines.
    """
    if not is_simulated:
        switch_off_first(file)
    settings, rejected = in_force(file)
    with ExitStack() as stack:
        state, runtime = state_folder(settings.id), runtime_folder(settings.id)
        stack.callback(hold_lock(runtime / f"{settings.id}.lock"))
        if is_simulated:
            bench = open_simulated(settings, relay_trace, stack, mishap)
        else:
            bench = open_pi(settings, runtime, stack)
        return _Daemon(
            file, settings, Files.of(state, settings.id), runtime, bench, is_new or not is_simulated
        ).run(rejected)


def tells(settings: Settings) -> bool:
    """Whether the notifier has anything to do for this bed."""
    return settings.mqtt is not None or settings.messages.is_anything


class _Daemon:
    """runtime: the folder of socket and lock. is_new: it may be a bed that never watered by itself."""

    def __init__(
        self, file: Path, settings: Settings, files: Files, runtime: Path, bench: Bench, is_new: bool
    ) -> None:
        self._must_be_proven = is_new and settings.file.not_commissioned is None
        self._file, self._settings, self._files, self._runtime, self._bench = file, settings, files, runtime, bench
        self._manager = Manager()
        self._keeper_stillness, self._guard_stillness = Stillness(), Stillness()
        self._clock = Clock(settings.is_clock_trusted)
        self._clock.check()
        self._clock_checked_s = 0.0
        at = self._clock.now()
        self._offset_s = at.wall_s - at.long_s
        self._watch = FileWatch(file)
        self._must_reload = threading.Event()
        self._status = 0
        self._child = None if self._manager.is_there or not tells(settings) else NotifyChild(file)

    def run(self, rejected: str | None) -> int:
        """rejected: why the file is not the one in force, None if it is."""
        at = self._clock.now()
        settings = self._settings
        boot = boot_id()
        restored = restore(self._files, boot, settings.plan, at)
        memory = restored.memory
        core = decisions.begin(
            settings.plan,
            settings.sensing,
            settings.limits,
            memory,
            at,
            settings.care,
            settings.thirst,
            self._must_be_proven,
            ANNOUNCE_S if settings.wiring.can_announce else 0.0,
        )
        self._keeper = Keeper(core, self._clock, self._record, self._tell_guard, self._chores)
        self._keeper.alerts = restored.alerts
        self._recorder = Recorder(
            lambda: Store(self._files.database, boot),
            self._keeper.post,
            self._clock.now,
            self._part_died,
        )
        self._guard = GuardThread(
            self._bench, settings.limits, memory.guard, self._clock, self._heard_guard, self._feed, self._guard_died
        )
        notices = restored.notices
        if rejected is not None:
            words = loose(
                "The file is not valid.",
                "The last accepted one is in force.",
                f"Correct it: {rejected.splitlines()[0]}",
                "A valid file is taken by itself.",
            )
            notices = (*notices, Notice(PLAN_REJECTED, Severity.SOON, words))
        self._start_threads(notices)
        try:
            self._keeper.run()
        except BaseException as problem:
            log.error("keeper_died", problem=repr(problem))
            self._status = 1
        self._end()
        return self._status

    # --- opening -----------------------------------------------------------------------------

    def _start_threads(self, notices: tuple[Notice, ...]) -> None:
        threading.excepthook = self._thread_died
        self._recorder.start()
        self._guard.start()
        self._waker = CycleWaker(lambda: self._keeper.post(Look()))
        self._waker.start(self._settings.plan)
        units = {adviser.name: UNITS[adviser.kind] for adviser in self._settings.sensing.advisers}
        self._senses = Senses(
            self._bench.advisers,
            self._clock,
            lambda at, r: self._keeper.post(r, at),
            self._recorder.put,
            units,
            self._part_died,
            self._bench.counts,
        )
        self._senses.start()
        self._panel = self._new_panel()
        self._socket = ControlSocket(
            self._runtime / f"{self._settings.id}.sock",
            self._tell_status,
            self._stop_run,
            self._keeper.order,
            self._part_died,
            self._senses.counts,
            self._note_channel,
        )
        self._socket.start()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._told_to_stop)
        signal.signal(signal.SIGHUP, lambda *_: self._must_reload.set())
        self._begin_notices(notices)
        self._accept(self._settings)
        log.info("ready", bed=self._settings.id, plan=str(self._file))
        self._manager.ready()

    def _new_panel(self) -> PanelThread | None:
        """Light, buzzer and button, where at least one of them is fitted."""
        wiring, panel = self._settings.wiring, self._bench.panel
        if panel is None or not (wiring.can_announce or wiring.button is not None):
            return None
        thread = PanelThread(panel, self._panel_view, self._planned_s, self._keeper.order, long_s, self._part_died)
        thread.start()
        return thread

    def _panel_view(self) -> View:
        keeper, guard = self._keeper, self._guard.state
        urgent = (kind for kind, alert in keeper.alerts.items() if alert["severity"] == Severity.URGENT)
        return View(
            is_running=guard.run is not None,
            is_stopped=bool(guard.locks) or any(watch.trip for _, watch in guard.watches),
            is_announced=keeper.state.announced_until_s > long_s(),
            urgent=frozenset(urgent),
        )

    def _planned_s(self) -> float | None:
        now = datetime.fromtimestamp(self._clock.now().wall_s, UTC)
        return next((cycle.seconds for cycle in upcoming(self._settings.plan, now)), None)

    def _begin_notices(self, notices: tuple[Notice, ...]) -> None:
        """What this start found; what the last daemon said of itself is over."""
        for kind in self._keeper.alerts:
            if kind.startswith(OF_THE_LAST_DAEMON):
                self._keeper.post(Notice(kind))
        for notice in notices:
            self._keeper.post(notice)

    # --- what the threads call ---------------------------------------------------------------

    def _record(self, fact: Any) -> None:
        self._recorder.put(fact)

    def _tell_guard(self, message: Any) -> None:
        self._guard.inbox.put(message)

    def _heard_guard(self, at: Instant, action: Any) -> None:
        self._keeper.post(action, at)

    def _feed(self) -> None:
        """The guard lives; the watchdog hears of it only while the keeper lives too."""
        beat_s = self._keeper.beat_s
        if self._clock.now().long_s - beat_s < FRESH_BEAT_S:
            self._manager.alive()
        self._end_if_still("keeper", self._keeper_stillness.look(beat_s))

    def _end_if_still(self, part: str, looks: int) -> None:
        if looks >= HANGS_AFTER_LOOKS:
            log.error("hangs", part=part, looks=looks)
            self._manager.hangs()

    def _guard_died(self, problem: BaseException) -> None:
        log.error("guard_died", problem=repr(problem))
        self._status = 1
        self._keeper.stop()

    def _thread_died(self, args: threading.ExceptHookArgs) -> None:
        """A thread of a library; ours are begun again."""
        self._part_died(args.thread.name if args.thread else "unknown", args.exc_value)

    def _part_died(self, name: str, problem: BaseException | None) -> None:
        """A thread that is neither guard nor keeper: watering goes on without it, and a person hears of it."""
        log.error("part_died", part=name, problem=repr(problem))
        words = loose(
            f"A part of the daemon ({name}) failed: {problem}.",
            "Watering goes on.",
            "Look at the log.",
            "The part is begun again by itself; this alert ends with a restart.",
        )
        self._keeper.post(Notice(f"part-failed-{name.replace(' ', '-').lower()}", Severity.SOON, words))

    def _note_channel(self, name: str, reason: str | None) -> None:
        """The notifier says that people are not reached on a channel, or are again."""
        words = None if reason is None else not_told(name, reason)
        self._keeper.post(Notice(f"not-told-{name}", Severity.SOON, words))

    def _stop_run(self, who: str) -> None:
        self._guard.inbox.put(Stop(who))

    def _tell_status(self) -> dict[str, Any]:
        keeper = self._keeper
        at = self._clock.now()
        told = status(keeper.state, self._guard.state, keeper.alerts, at, keeper.beat_s)
        is_proven = self._settings.file.not_commissioned is None
        return {
            "bed": self._settings.id,
            "title": self._settings.title,
            **told,
            "warnings": [*told["warnings"], *([] if is_proven else [NOT_COMMISSIONED])],
        }

    def _told_to_stop(self, *_: int | FrameType | None) -> None:
        self._manager.stopping()
        self._guard.inbox.put(Cut("the daemon was stopped"))
        self._keeper.stop()

    # --- once a second -----------------------------------------------------------------------

    def _chores(self, at: Instant) -> None:
        if at.long_s >= self._clock_checked_s + CLOCK_EVERY_S:
            self._clock_checked_s = at.long_s
            self._clock.check()
        self._note_clock_step(at)
        self._manager.status(one_line(self._keeper.state, self._guard.state, at))
        self._end_if_still("guard", self._guard_stillness.look(self._guard.beat_s))
        if self._must_reload.is_set() or self._watch.has_changed(at.long_s):
            self._must_reload.clear()
            self._reload()
        if self._child is not None:
            self._child.look(at.long_s)

    def _note_clock_step(self, at: Instant) -> None:
        """The scheduler sleeps by another clock and would not notice."""
        offset_s = at.wall_s - at.long_s
        if abs(offset_s - self._offset_s) > STEP_S:
            log.info("clock_stepped", seconds=round(offset_s - self._offset_s, 1))
            self._waker.follow(self._settings.plan)
            self._keeper.post(Look())
        self._offset_s = offset_s

    def _reload(self) -> None:
        settings, messages = reload(self._file, self._settings)
        is_new = settings is not self._settings
        self._settings = settings
        for message in messages:
            self._keeper.post(message)
        if is_new:
            self._waker.follow(settings.plan)
            self._accept(settings)
            log.info("plan_taken", file=str(self._file))
        else:
            log.warning("plan_rejected", file=str(self._file))

    def _accept(self, settings: Settings) -> None:
        """Keeps the accepted text, so that a start with a bad file has something to run."""
        path = self._files.accepted
        temporary = path.with_suffix(".new")
        try:
            temporary.write_text(settings.text, encoding="utf-8")
            temporary.replace(path)
        except OSError as problem:
            log.error("accepted_file_not_kept", problem=str(problem))

    # --- ending ------------------------------------------------------------------------------

    def _end(self) -> None:
        """Relay off first; then what was said about it is still written down."""
        self._guard.stop()
        self._guard.join(timeout=END_WAIT_S)
        self._bench.relay.off()
        self._drain_keeper()
        self._socket.stop()
        self._waker.stop()
        self._senses.stop()
        if self._panel is not None:
            self._panel.stop()
        if self._child is not None:
            self._child.stop()
        self._recorder.put(Deed(self._clock.now(), "stop", "the daemon stopped"))
        self._recorder.stop()
        self._recorder.join(timeout=END_WAIT_S)
        log.info("stopped")

    def _drain_keeper(self) -> None:
        """The end of a run that was cut is still taken in and recorded."""
        if self._status == 0:
            self._keeper.stop()
            self._keeper.run()
