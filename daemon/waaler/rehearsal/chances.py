"""What may befall a bed in a trial, drawn by lot: faults, troubles, people, clocks, plans."""

from dataclasses import replace
from itertools import pairwise
from random import Random

from waaler.core.messages import OrderKind
from waaler.guard.limits import Limits
from waaler.model.faults import FAULTS, Fault
from waaler.plan.types import AtTimes, ClockMoment, Evenly, Every, Plan, Window
from waaler.rehearsal.deeds import TROUBLES, ClockStep, Deed, Edit, Ordered, Script, Trouble
from waaler.rehearsal.rules import DAY_S
from waaler.rehearsal.scene import Scene

__all__ = ["dense", "equipped", "faults_together", "random_faults", "random_script", "with_some_equipment"]

HOUR_S = 3600.0
YEAR_S = 365 * DAY_S
MOST_FAULTS = 3
HASTE_S = 3.0
DENSE_DAYS = 0.5
LATE = (ClockMoment(11 * 60 + 30), ClockMoment(23 * 60))
AT_A_START = frozenset({"database-held", "journal-torn", "journal-damaged", "journal-lost", "journal-foreign"})
MET_AT_A_START = ("welded-relay", "welded-cutoff", "welded-cutoff", "disk-full", "database-lost", "no-clock")
PEOPLE = (
    OrderKind.WATER, OrderKind.WATER, OrderKind.WATER, OrderKind.STOP, OrderKind.PAUSE, OrderKind.SERVICE,
    OrderKind.SOAK, OrderKind.ATTEND, OrderKind.RESUME, OrderKind.RESUME, OrderKind.CLEAR, OrderKind.CLEAR,
    OrderKind.REFILL,
)  # fmt: skip


def equipped(scene: Scene) -> Scene:
    """The scene with a cut-off relay, a flow meter and a sensed supply."""
    return replace(scene, limits=_fitted(scene, True, True, True))


def with_some_equipment(scene: Scene, chance: Random) -> Scene:
    """The scene with some of them, each by lot."""
    return replace(scene, limits=_fitted(scene, *(chance.random() < 0.5 for _ in range(3))))


def _fitted(scene: Scene, has_cutoff: bool, has_read_back: bool, has_meter: bool) -> Limits:
    normal = scene.figures.pump_l_per_min if has_meter else None
    return replace(scene.limits, has_cutoff=has_cutoff, has_read_back=has_read_back, normal_flow_l_per_min=normal)


def dense(scene: Scene, chance: Random) -> Scene:
    """The scene with short times, so that half a day holds much."""
    plan, limits = _dense_plan(scene.plan, chance), _dense_limits(scene.limits, chance)
    return replace(scene, plan=plan, limits=limits, days=DENSE_DAYS)


def _dense_plan(plan: Plan, chance: Random) -> Plan:
    early = Every(chance.choice((20, 30, 45)), ClockMoment(30), ClockMoment(11 * 60))
    windows = (
        Window("early", early, chance.choice((40.0, 90.0))),
        Window("late", Evenly(chance.randint(4, 16), *LATE), chance.choice((60.0, 120.0))),
        Window("some", AtTimes(tuple(ClockMoment(chance.randrange(1440)) for _ in range(4))), 75.0),
    )
    return replace(plan, windows=windows, longest_gap_s=chance.choice((None, 7200.0)))


def _dense_limits(limits: Limits, chance: Random) -> Limits:
    return replace(
        limits,
        longest_run_s=chance.choice((100.0, 180.0, 300.0)),
        most_per_day_s=chance.choice((600.0, 1500.0, 4000.0)),
        rest_s=chance.choice((30.0, 120.0)),
        settle_sump_s=chance.choice((60.0, 200.0)),
        settle_tray_s=chance.choice((60.0, 200.0)),
        run_back_s=chance.choice((30.0, 150.0)),
        start_delay_s=chance.choice((10.0, 60.0)),
        most_starts_per_h=chance.choice((4, 6, 12)),
    )


def random_faults(chance: Random, end_s: float) -> tuple[Fault, ...]:
    """One to three of the bed's own, at any time and for any length."""
    names = chance.sample(sorted(FAULTS), chance.randint(1, MOST_FAULTS))
    faults = []
    for name in names:
        starts_s = chance.uniform(0.0, 0.9 * end_s)
        faults.append(Fault(name, starts_s, starts_s + chance.choice((0.1, 1.0, 4.0, 12.0, 48.0)) * HOUR_S))
    return tuple(faults)


def faults_together(chance: Random, script: Script, end_s: float) -> tuple[Fault, ...]:
    """What matters most at a start: a power cut in the midst of it, and now and then a fault that it then meets.

    And what matters most when somebody waters: the guard begins anew just then, or the wire is late while orders
    come at once.
    """
    met = [one for one in script.troubles if one.name in AT_A_START]
    if met and chance.random() < 0.8:
        starts_s = chance.uniform(met[0].starts_s, min(met[0].ends_s, 0.9 * end_s))
        cut = Fault("power-cut", starts_s, starts_s + chance.choice((60.0, 600.0, HOUR_S)))
        is_all_lost = met[0].name == "journal-lost" and chance.random() > 0.5
        return (cut, Fault("database-lost", starts_s, cut.ends_s + 1.0)) if is_all_lost else (cut,)
    hasty = [at_s for (at_s, _), (next_s, _) in pairwise(script.deeds) if next_s < at_s + HASTE_S]
    if hasty and chance.random() < 0.4:
        at_s = chance.choice(hasty)
        return (Fault("messages-late", max(0.0, at_s - 60.0), at_s + chance.choice((1.0, 8.0)) * HOUR_S),)
    watered = [at_s for at_s, deed in script.deeds if isinstance(deed, Ordered) and deed.kind is OrderKind.WATER]
    if watered and chance.random() < 0.3:
        cut_s = chance.choice(watered) + chance.uniform(0.0, 200.0)
        return (Fault("power-cut", cut_s, cut_s + 5.0),)
    if chance.random() < 0.4:
        return ()
    starts_s = chance.uniform(0.0, 0.6 * end_s)
    cut_s = starts_s + chance.uniform(60.0, 0.2 * end_s)
    name = chance.choice(MET_AT_A_START)
    # a disk that takes something again at the start: the history is read, and lacks what came last
    ends_s = cut_s + 1.0 if name == "disk-full" else starts_s + 0.4 * end_s
    return Fault(name, starts_s, ends_s), Fault("power-cut", cut_s, cut_s + chance.choice((60.0, 600.0)))


def random_script(chance: Random, scene: Scene, end_s: float) -> Script:
    """What people and the computer do meanwhile."""
    deeds = _orders(chance, end_s) + _edits(chance, scene, end_s) + _clock_steps(chance, end_s)
    return Script(
        deeds=tuple(sorted(deeds, key=lambda pair: pair[0])),
        stalls=_stalls(chance, end_s),
        troubles=_troubles(chance, end_s),
        drift=chance.choice((0.0, 0.0, 0.0, 0.05, -0.05)),
        wrong_by_s=chance.choice((0.0, 0.0, YEAR_S, -YEAR_S)),
    )


def _orders(chance: Random, end_s: float) -> list[tuple[float, Deed]]:
    found: list[tuple[float, Deed]] = []
    for _ in range(chance.choice((0, 3, 10, 25))):
        at_s, kind = chance.uniform(0.0, end_s), chance.choice(PEOPLE)
        if kind is OrderKind.WATER:
            # now and then in a row, as one who waters by hand does
            for n in range(chance.choice((1, 1, 6))):
                each_s = at_s + n * chance.uniform(5.0, 400.0)
                found.append((each_s, Ordered(kind, chance.uniform(5.0, 400.0))))
                if chance.random() < 0.5:
                    found.append((each_s + chance.uniform(0.1, HASTE_S), _second_thought(chance)))
        elif kind is OrderKind.ATTEND:
            found += _attended(chance, at_s)
        elif kind in (OrderKind.PAUSE, OrderKind.SERVICE, OrderKind.SOAK):
            length_s = chance.choice((60.0, 900.0, 7200.0, 20_000.0))
            found.append((at_s, Ordered(kind, length_s)))
            if kind is OrderKind.SOAK or chance.random() < 0.3:
                found += _by_another(chance, at_s, length_s)
        else:
            found.append((at_s, Ordered(kind, is_direct=kind is OrderKind.STOP and chance.random() < 0.5)))
    return found


def _by_another(chance: Random, at_s: float, length_s: float) -> list[tuple[float, Deed]]:
    """Somebody else waters at the same moment, and again while it lasts."""
    moments_s = (chance.uniform(0.1, HASTE_S), *(chance.uniform(0.0, length_s) for _ in range(3)))
    return [(at_s + moment_s, Ordered(OrderKind.WATER, chance.uniform(5.0, 60.0))) for moment_s in moments_s]


def _second_thought(chance: Random) -> Ordered:
    """Whoever has just watered wants none, at once."""
    kind = chance.choice((OrderKind.STOP, OrderKind.STOP, OrderKind.PAUSE, OrderKind.SERVICE))
    if kind is OrderKind.STOP:
        return Ordered(kind, is_direct=chance.random() < 0.7)
    return Ordered(kind, chance.choice((60.0, 900.0)))


def _attended(chance: Random, at_s: float) -> list[tuple[float, Deed]]:
    """A person stands by for some minutes, waters, confirms, and mostly resumes."""
    length_s = chance.choice((300.0, 900.0))
    found: list[tuple[float, Deed]] = [(at_s, Ordered(OrderKind.ATTEND, length_s))]
    for n in range(8):
        found.append((at_s + (n + 1) * 30.0, Ordered(OrderKind.WATER, chance.uniform(5.0, 60.0))))
        found.append((at_s + (n + 1) * 30.0 + 15.0, Ordered(OrderKind.CONFIRM)))
    return found


def _edits(chance: Random, scene: Scene, end_s: float) -> list[tuple[float, Deed]]:
    found: list[tuple[float, Deed]] = []
    for _ in range(chance.choice((0, 0, 1, 4))):
        plan = _dense_plan(scene.plan, chance) if chance.random() < 0.5 else _edited(scene.plan, chance)
        limits = scene.limits if chance.random() < 0.5 else _other_limits(scene.limits, chance)
        found.append((chance.uniform(0.0, end_s), Edit(plan, limits)))
    return found


def _edited(plan: Plan, chance: Random) -> Plan:
    """A window less, or every cycle shorter or longer."""
    windows = list(plan.windows)
    if len(windows) > 1 and chance.random() < 0.5:
        windows.pop(chance.randrange(len(windows)))
    factor = chance.choice((0.5, 1.0, 1.5))
    return replace(plan, windows=tuple(replace(window, seconds=factor * window.seconds) for window in windows))


def _other_limits(limits: Limits, chance: Random) -> Limits:
    return replace(
        limits,
        longest_run_s=limits.longest_run_s * chance.choice((0.2, 0.5, 1.0, 2.0)),
        most_per_day_s=limits.most_per_day_s * chance.choice((0.2, 0.5, 1.0, 2.0)),
        rest_s=limits.rest_s * chance.choice((0.5, 1.0, 2.0)),
        settle_sump_s=limits.settle_sump_s * chance.choice((0.5, 1.0, 2.0)),
        most_starts_per_h=chance.choice((3, 6, 12)),
    )


def _clock_steps(chance: Random, end_s: float) -> list[tuple[float, Deed]]:
    steps_s = (HOUR_S, -HOUR_S, 120.0, -120.0, YEAR_S, -YEAR_S, 40 * HOUR_S)
    count = chance.choice((0, 0, 0, 1, 3))
    return [(chance.uniform(0.0, end_s), ClockStep(chance.choice(steps_s))) for _ in range(count)]


def _stalls(chance: Random, end_s: float) -> tuple[tuple[float, float], ...]:
    """Seconds to minutes, one after the other."""
    found, at_s = [], 0.0
    for _ in range(chance.choice((0, 0, 2, 12))):
        at_s += chance.expovariate(8 / end_s) + 5.0
        length_s = chance.choice((0.5, 3.0, 30.0, 300.0)) * chance.uniform(0.5, 1.5)
        found.append((at_s, at_s + length_s))
        at_s += length_s
    return tuple(found)


def _troubles(chance: Random, end_s: float) -> tuple[Trouble, ...]:
    found = []
    for name in chance.sample(sorted(TROUBLES), chance.choice((0, 1, 2, 3))):
        starts_s = chance.uniform(0.0, 0.8 * end_s)
        hours = (20 / HOUR_S, 1.0) if name == "relay-sticks" else (1.0, 4.0, 24.0)
        lasts_s = chance.choice(hours) * HOUR_S
        found.append(Trouble(name, starts_s, starts_s + lasts_s))
    return tuple(found)
