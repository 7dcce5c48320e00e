"""A keeper that is begun again at every tenth event of a busy week: what it knows is as if it had gone on."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

from tests.core.bench import LIMITS, PLAN, Bench

from waaler.bed.figures import Figures
from waaler.bed.ledger import SumpBook
from waaler.core import decisions
from waaler.core import joined as core
from waaler.core.alert import AlertKind, Severity, Words
from waaler.core.care import Care, Contact
from waaler.core.facts import Act, AlertRaised, AlertReminded, AlertResolved, Amount, Deed
from waaler.core.messages import Look, Message, Notice, OrderKind, Readings, Recorded, Write
from waaler.guard.messages import Flow, Input, Level
from waaler.guard.messages import Message as GuardMessage
from waaler.guard.state import memory_of
from waaler.plan.sensing import Adviser, AdviserKind, Range, Reading, Sensing
from waaler.records.store import Store

HOUR_S, DAY_S = 3600.0, 86_400.0
SENSING = Sensing(
    advisers=(
        Adviser("tray_wet", AdviserKind.TRAY_WET, stale_after_s=DAY_S),
        Adviser("air", AdviserKind.TEMPERATURE, stale_after_s=900.0),
    ),
    ranges=(Range("pH", "", 5.5, 6.5),),
)
CARE = Care(
    SumpBook(Figures(sump_full_l=220.0, sump_low_l=45.0, line_l=1.5), lambda _: (20.0 / 14,) * 14),
    (Contact("Ann", ""),),
)
METERED = replace(LIMITS, normal_flow_l_per_min=12.0)
EVERY = 10


class Week(Bench):
    """A bench that writes into records and whose keeper may begin again; the guard goes on."""

    def __init__(self, folder: Path, every: int, **more: Any) -> None:
        self.every, self.events, self.written, self.restarts, self.is_begun = every, 0, 0, 0, False
        self.l_per_min, self.ran_s = 12.0, -1e9
        self.path = folder / "terrace.db"
        self.store = Store(self.path, "boot-a", is_lasting=False)
        super().__init__(PLAN, SENSING, METERED, CARE, must_be_proven=True, **more)
        self.is_begun = True

    def tell(self, message: Message) -> list[core.Output]:
        self._count(message)
        return super().tell(message)

    def tell_guard(self, message: GuardMessage) -> list[core.Output]:
        self._count(message)
        return super().tell_guard(message)

    def _count(self, message: object) -> None:
        """A reading is no event."""
        if self.is_begun and not isinstance(message, Flow | Reading | Readings | Recorded):
            self.events += 1
            if self.every and self.events % self.every == 0:
                self.restart()

    def pass_s(self, seconds: float) -> None:
        """With a reading of the flow each second of a run."""
        end_s = self.long_s + seconds
        while self.long_s < end_s:
            step_s = max(0.0, min(self.core.wake_s, self.core.guard_wake_s) - self.long_s)
            if self.is_on:
                self.ran_s, step_s = self.long_s, 5.0
                self.tell_guard(Flow(self.l_per_min))
                for _ in range(5):
                    self.tell(Flow(self.l_per_min))
            super().pass_s(min(step_s, end_s - self.long_s))

    def write(self) -> None:
        self.store.write([output.fact for _, output in self.outputs[self.written :] if isinstance(output, Write)])
        self.written = len(self.outputs)

    def restart(self) -> None:
        self.write()
        self.store.alive(replace(self.at, long_s=self.long_s - 300.0, wall_s=self.wall_s - 300.0))
        self.store.close()
        self.store = Store(self.path, "boot-a", is_lasting=False)
        run, guard = self.core.guard.run, replace(memory_of(self.core.guard), open_run=None)
        running = None if run is None else run.run_id
        ended = self.store.unended(self.at, guard, running)
        self.store.write([*ended, Deed(self.at, Act.START, "the daemon started")])
        memory = replace(self.store.memory(self.at, running), guard=guard)
        memory = replace(memory, next_run_id=max(memory.next_run_id, guard.last_run_id + 1))
        active = None if run is None else self.store.run_in_progress(run.run_id, run.until_s)
        begun = decisions.begin(self.core.decisions.setup, memory, self.at, active)
        self.core = replace(self.core, decisions=begun, wake_s=self.long_s)
        self.restarts += 1
        super().tell(Look())

    def known(self) -> dict[str, object]:
        """What a restart shall leave as it is."""
        state = self.core.decisions
        return {
            "alerts": {
                name: (one.severity, round(one.raised_s), round(one.told_s), one.reminders, one.acknowledged_by)
                for name, one in state.alerts.standing.items()
            },
            "wear": replace(state.wear, flows=()),
            "ledger": state.water.sump,
            "holds": state.barriers.holds,
            "trips": (state.barriers.trips, state.barriers.not_read),
            "arming": state.proving.unproven,
            "upkeep": state.upkeep,
            "owed": (replace(state.account, given=(), last_run_s=0.0, full_before_s=0.0), state.dips.pulse_s),
        }

    def told(self) -> list[tuple[float, str, str]]:
        """Every raising, reminder and end, with its hour."""
        kinds = (AlertRaised, AlertReminded, AlertResolved)
        return [(round(f.at.long_s), type(f).__name__, f.kind) for f in self.facts() if isinstance(f, kinds)]


def live(
    week: Week, hours: float, l_per_min: float = 12.0, dry_after_s: float = 600.0, air: float | None = 20.0
) -> None:
    """Time in which the plan waters: the pump's flow, how long the tray stays wet after a run, a thermometer."""
    week.l_per_min = l_per_min
    end_s = week.long_s + hours * HOUR_S
    while week.long_s < end_s:
        is_wet = week.long_s - week.ran_s < dry_after_s
        week.tell(Readings((Reading("tray_wet", float(is_wet)), Reading("air", air))))
        week.pass_s(min(20.0 if is_wet else 120.0, end_s - week.long_s))


def days(week: Week) -> Iterator[str]:
    """A busy week, day by day."""
    live(week, 1.0)
    for name in Input:
        week.level(name, Level.BAD)
        live(week, 0.2)
        week.level(name, Level.GOOD)
        week.order(OrderKind.REFILL)
        live(week, 1.8)
    live(week, 1.0)
    week.order(OrderKind.MEASURE, amounts=(Amount("pH", 7.2, ""),))
    live(week, 18.0, l_per_min=7.0)
    yield "a new bed is proven, its pump is weak, a pH is out of range"
    week.order(OrderKind.PAUSE, 8 * HOUR_S)
    live(week, 9.0)
    week.tell(Notice(AlertKind.PART_FAILED, Severity.SOON, Words("A part failed."), "socket"))
    live(week, 15.0, dry_after_s=1400.0)
    yield "a long pause, a part that failed, a slow drain"
    live(week, 8.0, dry_after_s=1400.0, air=None)
    week.order(OrderKind.ACKNOWLEDGE)
    live(week, 16.0, dry_after_s=1400.0)
    yield "a sensor gone, all acknowledged"
    week.level(Input.TRAY_HIGH, Level.BAD)
    live(week, 4.0)
    week.level(Input.TRAY_HIGH, Level.GOOD)
    live(week, 2.0)
    week.order(OrderKind.SERVICE, HOUR_S)
    week.level(Input.SUMP_LOW, Level.NOT_READ)
    live(week, 0.5)
    week.level(Input.SUMP_LOW, Level.GOOD)
    live(week, 17.5)
    yield "a blocked drain, a service"
    week.order(OrderKind.MEASURE, amounts=(Amount("sump", 140.0, "L"),))
    live(week, 5.0)
    week.order(OrderKind.MEASURE, amounts=(Amount("sump", 90.0, "L"),))
    live(week, 19.0)
    yield "water missing"
    live(week, 12.0)
    week.level(Input.SUMP_LOW, Level.BAD)
    live(week, 12.0)
    yield "a low sump"
    week.order(OrderKind.REFILL, litres=170.0)
    week.level(Input.SUMP_LOW, Level.GOOD)
    week.order(OrderKind.MEASURE, amounts=(Amount("pH", 6.0, ""),))
    live(week, 24.0)
    yield "all is well again"


def week(folder: Path, every: int) -> Week:
    folder.mkdir()
    return Week(folder, every, start="2026-06-21T00:00:00+01:00")


def test_a_busy_week_with_a_restart_at_every_tenth_event_is_told_as_if_there_had_been_none(tmp_path: Path) -> None:
    plain, restarted = week(tmp_path / "plain", 0), week(tmp_path / "restarted", EVERY)
    with closing(plain.store), closing(restarted.store):
        for what, again in zip(days(plain), days(restarted), strict=True):
            expected, found = plain.known(), restarted.known()
            assert {name: found[name] for name in expected} == expected, (what, again)

    assert restarted.restarts > 20
    assert {kind for _, _, kind in plain.told()} >= {
        "not-commissioned", "pump-weaker", "drain-slowing", "ph-outside", "paused-long", "not-valid-air", "tray-high", "leak", "sump-low",
    }  # fmt: skip
    assert restarted.told() == plain.told()
