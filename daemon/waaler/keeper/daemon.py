"""The keeper: joins the threads that decide, record, read the slow sensors and answer people.

The pump's lines are the guard's, a process of its own that begins this one: here nothing can hold the pump.
"""

import os
import pwd
import signal
import subprocess
import sys
import threading
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any

import structlog

from waaler.core import decisions
from waaler.core.facts import Act, Deed, Fact, PresentNoted
from waaler.core.memory import retold
from waaler.core.messages import Look, Notice
from waaler.core.state import Setup as CoreSetup
from waaler.devices.clock import Clock, WallSteps, boot_id, long_s
from waaler.devices.local_socket import Peer
from waaler.devices.pipe import Beat, Began, Finish, Ready, Reload, Setup, Sure
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Instant, Reserve
from waaler.guard.state import State as GuardState
from waaler.keeper.changes import Changes
from waaler.keeper.child import NotifyChild
from waaler.keeper.control import ControlSocket
from waaler.keeper.door import Room
from waaler.keeper.guard_link import GuardLink
from waaler.keeper.keeper import Keeper
from waaler.keeper.opening import Site, open_pi, open_simulated
from waaler.keeper.panel import PanelThread
from waaler.keeper.record_mender import RecordMender
from waaler.keeper.recorder import Recorder
from waaler.keeper.reload import Reloader, pins_wait, rejected, tells
from waaler.keeper.restore import Files, restore
from waaler.keeper.scheduler import CycleWaker
from waaler.keeper.senses import Senses
from waaler.keeper.shown import Shown
from waaler.keeper.status import UNITS
from waaler.keeper.troubles import Troubles
from waaler.records.store import Store
from waaler.settings import Settings
from waaler.settings.followed import in_force
from waaler.settings.places import bed_id, runtime_folder, state_folder
from waaler.settings.replacing import replaced
from waaler.settings.watch_file import FileWatch

__all__ = ["keep"]

CLOCK_EVERY_S = 60.0
END_WAIT_S = 3.0
ANNOUNCE_S = 15.0
"""A start after a trip, a boot or a pause is announced so long by light and buzzer. Common practice, no source."""

IDS_AHEAD = 1000
"""Run ids that the guard is told to take for used before they are: a keeper that has lost its records goes on
behind.
"""

GUARD_GONE = 3
NOTIFIER = "waaler-notify"
"""The user of the notifier's unit, as in systemd/waaler.sysusers."""

log = structlog.get_logger()


def keep(file: Path, is_simulated: bool = False, is_new: bool = False, mishap: str | None = None) -> int:
    """Keeps the bed until the guard tells it to end; 0 then, else why the guard should begin another.

    is_new: take a simulated bed for one that was never commissioned. mishap: what is wrong with its wiring.

    Raises: SettingsError for a bad file where no accepted one is kept; NoLines; GuardGone.
    """
    clock = Clock(is_trusted=False)
    link = GuardLink(clock)
    bed = link.hello.bed or bed_id(file)
    settings, problem = in_force(file, Files.of(state_folder(bed), bed).accepted, bed)
    with ExitStack() as stack:
        site = open_simulated(settings, link.tell, stack, mishap) if is_simulated else open_pi(settings, stack)
        return _Daemon(file, settings, link, clock, site, is_new or not is_simulated).run(problem)


def _user_number(name: str) -> int | None:
    try:
        return pwd.getpwnam(name).pw_uid
    except KeyError:
        return None


class _Daemon:
    """is_new: it may be a bed that never watered by itself."""

    def __init__(
        self, file: Path, settings: Settings, link: GuardLink, clock: Clock, site: Site, is_new: bool
    ) -> None:
        self._must_be_proven = is_new and settings.file.not_commissioned is None
        self._file, self._settings, self._link, self._site = file, settings, link, site
        self._id = settings.id  # never changes live, whatever becomes of the file
        self._files = Files.of(state_folder(settings.id), settings.id)
        self._runtime = runtime_folder(settings.id)
        self._clock = clock
        self._clock.take(settings.is_clock_trusted)
        self._check_clock()
        self._wall = WallSteps(self._clock.now())
        self._watch = FileWatch(file)
        self._must_reload = threading.Event()
        self._status = 0
        self._reserved_id = 0
        self._must_restart = False
        self._dropped = 0
        self._troubles = Troubles(lambda notice: self._keeper.post(notice))
        self._changes = Changes(self._troubles.part_died)
        self._has_notify_unit = "INVOCATION_ID" in os.environ  # systemd.exec(5)
        self._notifier_user = _user_number(NOTIFIER)
        self._child: NotifyChild | None = None
        self._keep_child()

    def run(self, problem: str | None) -> int:
        """problem: why the file is not the one in force, None if it is."""
        at = self._clock.now()
        settings, boot = self._settings, boot_id()
        restored = restore(self._files, boot, settings.plan, at, self._link.hello, self._set_up)
        core = decisions.begin(self._setup(), restored.memory, at, restored.active)
        self._keeper = Keeper(core, self._clock, self._record, self._link.tell, self._chores)
        self._keeper.alerts = restored.alerts
        self._shown = Shown(
            self._id,
            self._keeper,
            self._clock,
            lambda: self._settings,
            lambda: self._guard_state,
            self._record,
            self._changes.tell,
        )
        self._recorder = Recorder(
            lambda: Store(self._files.database, boot),
            self._keeper.post,
            self._clock.now,
            self._troubles.part_died,
            restored.settle,
            self._troubles.records_fail,
            self._changes.tell,
            RecordMender(self._files.database, boot, self._known, self._keeper.post).mend,
        )
        notices = restored.notices
        if problem is not None:
            what = "The file is not valid."
            notices = (*notices, rejected(problem.splitlines()[0], what, "The last accepted one"))
        self._reloader = Reloader(
            self._file, settings, self._must_restart, self._has_notify_unit, lambda: self._changes.has_notifier
        )
        self._start_threads(notices)
        try:
            self._keeper.run()
        except BaseException as problem:
            log.error("keeper_died", problem=repr(problem))
            self._status = 1
        self._end()
        return self._status

    def _setup(self) -> CoreSetup:
        """What the decisions begin with."""
        settings = self._settings
        return CoreSetup(
            settings.plan,
            settings.sensing,
            settings.limits,
            settings.care,
            settings.thirst,
            self._must_be_proven,
            ANNOUNCE_S if settings.wiring.can_announce else 0.0,
        )

    # --- opening -----------------------------------------------------------------------------

    def _start_threads(self, notices: tuple[Notice, ...]) -> None:
        threading.excepthook = self._troubles.thread_died
        self._recorder.start()
        self._waker = CycleWaker(lambda: self._keeper.post(Look()))
        self._waker.start(self._settings.plan)
        units = {adviser.name: UNITS[adviser.kind] for adviser in self._settings.sensing.advisers}
        self._senses = Senses(
            self._site.bench.advisers,
            self._clock,
            lambda at, r: self._keeper.post(r, at),
            self._recorder.put,
            units,
            self._troubles.part_died,
            self._site.bench.counts,
        )
        self._senses.start()
        self._panel = self._new_panel()
        self._socket = ControlSocket(
            self._runtime / f"{self._id}.sock",
            self._shown.status,
            self._keeper.order,
            self._troubles.part_died,
            self._room,
            self._senses.counts,
            self._troubles.channel,
            self._is_notifier,
            self._changes,
        )
        self._changes.start()
        self._socket.start()
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGTTOU):
            signal.signal(number, signal.SIG_IGN)  # the guard ends this process, in order
        signal.signal(signal.SIGHUP, lambda *_: self._must_reload.set())
        self._site.start()
        self._link.follow(
            self._heard_guard, self._asked, self._troubles.of_the_guard, self._site.relay, self._guard_gone
        )
        self._begin_notices(notices)
        self._accept(self._settings)
        log.info("ready", bed=self._id, plan=str(self._file))
        self._link.tell(Ready())

    def _new_panel(self) -> PanelThread | None:
        """Light, buzzer and button, where at least one of them is fitted."""
        wiring, panel = self._settings.wiring, self._site.bench.panel
        if panel is None or not (wiring.can_announce or wiring.button is not None):
            return None
        shown = self._shown
        thread = PanelThread(
            panel, shown.panel, shown.planned_s, self._keeper.order, long_s, self._troubles.part_died
        )
        thread.start()
        return thread

    def _begin_notices(self, notices: tuple[Notice, ...]) -> None:
        """What this start found; what the last daemon said of itself is over."""
        self._troubles.begin(self._keeper.state.alerts.standing.values())
        if self._must_restart:
            notices = (*notices, pins_wait(self._id))
        for notice in notices:
            self._keeper.post(notice)

    # --- what the threads call ---------------------------------------------------------------

    def _record(self, fact: Fact) -> None:
        self._recorder.put(fact)

    @property
    def _guard_state(self) -> GuardState:
        state = self._link.state
        assert state is not None, "the guard has begun"
        return state

    def _set_up(self, known: GuardMemory) -> Began:
        self._link.tell(Sure(self._clock.is_sure))
        began = self._link.set_up(Setup(self._site.pins, self._settings.limits, known))
        self._must_restart = began.must_restart
        return began

    def _heard_guard(self, at: Instant, message: Any) -> None:
        self._keeper.post(message, at)

    def _asked(self, message: Reload | Finish) -> None:
        if isinstance(message, Reload):
            self._must_reload.set()
        else:
            self._keeper.stop()

    def _guard_gone(self) -> None:
        """Without the guard nothing may go on: off once more by its file, then what was heard is written down."""
        off = [sys.executable, "-m", "waaler.off", str(self._runtime), self._id]
        with suppress(OSError, subprocess.TimeoutExpired):
            subprocess.run(off, timeout=END_WAIT_S, check=False, stdin=subprocess.DEVNULL)
        log.error("guard_gone")
        self._status = GUARD_GONE
        self._keeper.stop()

    def _room(self) -> Room:
        sump, tank = self._settings.file.layout.sump, self._settings.file.top_up
        return Room(sump.brim or sump.full, 0.0 if tank is None else tank.tank)

    def _is_notifier(self, peer: Peer) -> bool:
        """The one process that speaks to networks: by its user where it is a unit, else by its number."""
        child = self._child
        return peer.user == self._notifier_user or (child is not None and peer.process == child.number)

    def _known(self) -> list[Fact]:
        """For records that are begun anew."""
        at = self._clock.now()
        facts = [Deed(at, Act.START, "the history was begun anew"), *retold(self._keeper.state, at)]
        present = self._shown.present
        return facts if present is None else [*facts, PresentNoted(at, present)]

    # --- once a second -----------------------------------------------------------------------

    def _chores(self, at: Instant) -> None:
        if at.long_s >= self._clock_checked_s + CLOCK_EVERY_S:
            self._check_clock()
        self._note_clock_step(at)
        self._link.tell(Beat(self._shown.look(at)))
        self._reserve_ids()
        self._note_dropped()
        if self._must_reload.is_set() or self._watch.has_changed(at.long_s):
            self._must_reload.clear()
            self._reload()
        for message in self._reloader.look():
            self._keeper.post(message)
        if self._child is not None:
            self._child.look(at.long_s)

    def _check_clock(self) -> None:
        """Whether the wall clock is right is found out here, where a slow file holds nobody up."""
        self._clock_checked_s = self._clock.now().long_s
        self._clock.check()
        self._link.tell(Sure(self._clock.is_sure))

    def _reserve_ids(self) -> None:
        following = self._keeper.state.runs.next_run_id
        if following + IDS_AHEAD / 2 > self._reserved_id:
            self._reserved_id = following + IDS_AHEAD
            self._link.tell(Reserve(self._reserved_id))

    def _note_dropped(self) -> None:
        """What the guard could not say at once is lost; a person who reads the log should know."""
        report = self._link.report
        if report is None:
            return
        if report.dropped > self._dropped:
            self._dropped = report.dropped
            log.warning("messages_of_the_guard_dropped", count=report.dropped)

    def _note_clock_step(self, at: Instant) -> None:
        """The scheduler sleeps by another clock and would not notice; the records must know it too."""
        if step_s := self._wall.step_s(at):
            log.info("clock_stepped", seconds=round(step_s, 1))
            self._recorder.put(
                Deed(at, Act.CLOCK, f"the clock was set {abs(step_s):.0f} s {'on' if step_s > 0 else 'back'}")
            )
            self._waker.follow(self._settings.plan)
            self._keeper.post(Look())

    def _reload(self) -> None:
        for message in self._reloader.take():
            self._keeper.post(message)
        if self._reloader.present is self._settings:
            log.warning("plan_rejected", file=str(self._file))
            return
        self._settings = settings = self._reloader.present
        self._clock.take(settings.is_clock_trusted)
        self._check_clock()
        self._waker.follow(settings.plan)
        self._keep_child()
        self._accept(settings)
        log.info("plan_taken", file=str(self._file))

    def _keep_child(self) -> None:
        """The notifier beside this daemon, where no unit keeps one and there is something to tell."""
        is_wanted = not self._has_notify_unit and tells(self._settings)
        if self._child is not None and not is_wanted:
            self._child.stop()
            self._child = None
        elif self._child is None and is_wanted:
            self._child = NotifyChild(self._file)

    def _accept(self, settings: Settings) -> None:
        """Keeps the accepted text, so that a start with a bad file has something to run; never another bed's."""
        if settings.id != self._id:
            return
        try:
            with replaced(self._files.accepted) as new:
                new.write_text(settings.text, encoding="utf-8")
        except OSError as problem:
            log.error("accepted_file_not_kept", problem=str(problem))

    # --- ending ------------------------------------------------------------------------------

    def _end(self) -> None:
        """What the guard said last is taken in and written down."""
        self._drain_keeper()
        self._socket.stop()
        self._changes.stop()
        self._waker.stop()
        self._senses.stop()
        if self._panel is not None:
            self._panel.stop()
        if self._child is not None:
            self._child.stop()
        if self._status == 0:
            self._recorder.put(Deed(self._clock.now(), Act.STOP, "the daemon stopped"))
        self._recorder.stop()
        self._recorder.join(timeout=END_WAIT_S)
        log.info("stopped")

    def _drain_keeper(self) -> None:
        """The end of a run that was cut is still taken in and recorded."""
        if self._status == 0:
            self._keeper.stop()
            self._keeper.run()
