"""The bed `terrace` with records of a few days, for what reports and pages tell."""

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from tests.records.facts import WALL_S, at, intent, whole_run

from waaler.bed.figures import Figures
from waaler.bed.ledger import Entry, SumpBook
from waaler.bed.pots import Pot, alike
from waaler.core.facts import (
    Act,
    AlertRaised,
    Amount,
    Deed,
    Fact,
    Outcome,
    PresentNoted,
    RunResult,
    Severity,
    SumpNoted,
    TripBegan,
    TripOver,
)
from waaler.core.status import BedState, NextRun, Present
from waaler.guard.messages import Trip
from waaler.plan.sensing import Adviser, AdviserKind, Range, Sensing
from waaler.plan.types import ClockMoment, Evenly, Place, Plan, Window
from waaler.records.store import Sample, Store
from waaler.report.bed import Bed

__all__ = ["DAY_S", "MIDNIGHT_S", "NASTY", "WAITING", "ZONE", "bed", "write_days"]

DAY_S = 86_400.0
MIDNIGHT_S = WALL_S - 8 * 3600.0
"""The local midnight before the first run; the bed stands in Lisbon, summer time."""

ZONE = "Europe/Lisbon"
NASTY = '<script>alert(1)</script> & "Söhne"'
WAITING = Present(BedState.WAITING, next=NextRun(datetime(2026, 6, 21, 12, tzinfo=ZoneInfo(ZONE)), 120.0, "day"))
PLAN = Plan(
    Place(ZONE, 38.72, -9.14),
    (Window("day", Evenly(5, ClockMoment(6 * 60), ClockMoment(18 * 60)), 120.0),),
)
SENSING = Sensing(
    (Adviser("pot_3", AdviserKind.MOISTURE, 90.0, 60.0), Adviser("pot_9", AdviserKind.MOISTURE, 90.0, 60.0)),
    ranges=(Range("EC", "mS/cm", 1.4, 2.4),),
)


def bed(title: str = "Terrace bed") -> Bed:
    figures = Figures(pots=alike(10, Pot(drink_l_per_day=1.0)))
    return Bed("terrace", title, PLAN, SENSING, figures, SumpBook(figures, lambda _: (1.0,) * 10))


def write_days(path: Path, days: int = 3, reason: str = "ran its time") -> None:
    """From 08:00 of the first day: each day a run, a skip, and samples of two probes; a cut and a trip on the first."""
    store = Store(path, "boot-a")
    facts: list[Fact] = [Deed(at(-60.0), Act.START, "the daemon started"), SumpNoted(at(-60.0), Entry(220.0, 2.0))]
    facts.append(PresentNoted(at(-60.0), WAITING))
    for day in range(days):
        begin_s, first = day * DAY_S, 10 * day + 1
        facts += whole_run(first, begin_s, reason=reason)
        facts += [intent(first + 1, at(begin_s + 3600)), _skip(first + 1, begin_s + 3600)]
        store.write_samples([
            Sample(name, "%", WALL_S + begin_s + 60 * n, mean, mean - 1, mean + 1)
            for name, mean in (("pot_3", 80.0 - day), ("pot_9", 60.0 - 4 * day))
            for n in range(120)
        ])  # fmt: skip
    facts += [
        *whole_run(5, 7200.0, 40.0, Outcome.CUT_SHORT, reason="cut short: tray too full"),
        TripBegan(at(7240.0), Trip.HIGH_TRAY, "tray too full: is the drain blocked?", is_locked=False),
        AlertRaised(at(7240.0), "tray-high", Severity.URGENT, "Do NOT add water; free the drain."),
        TripOver(at(9000.0), Trip.HIGH_TRAY),
        Deed(at(10_000.0), Act.REFILL, "60 L of solution", "anna", amounts=(Amount("solution", 60.0, "L"),)),
        Deed(at(10_100.0), Act.MEASURE, "EC 2.9 mS/cm", "anna", amounts=(Amount("EC", 2.9, "mS/cm"),)),
        Deed(at(10_200.0), Act.NOTE, f"planted {NASTY}", "anna"),
    ]
    store.write(facts)
    store.close()


def _skip(run_id: int, long_s: float) -> RunResult:
    return RunResult(run_id, at(long_s), Outcome.SKIPPED, 0.0, "pot_3 reads 92 %, wet above 90 %")
