"""Random faults on a bed, story after story: does the guard hold, do the plants starve, are there false alarms?"""

import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from waaler.model.faults import FAULTS, Fault
from waaler.rehearsal.keeping import FileKeeping
from waaler.rehearsal.monitor import Heard, Monitor, Rules, Violation
from waaler.rehearsal.outside import Trace
from waaler.rehearsal.play import Play
from waaler.rehearsal.scene import Findings, Scene

__all__ = ["ALWAYS", "Story", "Told", "equipped", "rules_of", "shortest", "stories", "tell", "tell_all"]

DAY_S = 86_400.0
HOUR_S = 3600.0
TRACE_LINES = 40
MOST_FAULTS = 3
NO_WATER = frozenset(
    {"dead-pump", "leak", "tube-off", "power-cut", "power-flaps", "blocked-drain", "slow-drain", "outlet-clogged"}
)
"""With one of these the plants may be short of water that nobody can give: their wilting is not the tool's."""

LOCKING = frozenset({"welded-relay", "welded-cutoff"})
"""A bed that one of these locked rightly waits for a person."""

EVER = 9e9
ALWAYS = {
    "the sump float chatters at its mark in every run": (Fault("sump-float-chatters", 0.0, EVER),),
    "a puddle keeps tray_wet wet for ever": (Fault("puddle", 0.0, EVER),),
    "the one probe sits in a dead plant's wet pot": (Fault("probe-in-wet-pot", 0.0, EVER),),
    "the database is lost after a power cut": (
        Fault("power-cut", 0.4 * DAY_S, 0.5 * DAY_S),
        Fault("database-lost", 0.45 * DAY_S, 0.6 * DAY_S),
    ),
    "the disk is full when the power fails": (
        Fault("power-cut", 0.4 * DAY_S, 0.5 * DAY_S),
        Fault("disk-full", 0.0, 0.45 * DAY_S),
    ),
    "no clock and no network for two days": (
        Fault("power-cut", 0.25 * DAY_S, 0.3 * DAY_S),
        Fault("no-clock", 0.2 * DAY_S, 2.3 * DAY_S),
    ),
    "power comes and goes every three minutes": (Fault("power-flaps", 0.3 * DAY_S, 0.8 * DAY_S),),
    "the line runs back through the flow meter": (Fault("run-back-turns-meter", 0.0, EVER),),
    "a refill in mid-run": tuple(Fault("refill", hours * HOUR_S + 60.0, EVER) for hours in (9.5, 33.5, 57.5)),
    "a tube off the line": (Fault("tube-off", 0.2 * DAY_S, EVER),),
    "a relay that welds at noon": (Fault("welded-relay", 0.5 * DAY_S, 0.6 * DAY_S),),
    "a cut-off relay that welds": (Fault("welded-cutoff", 0.5 * DAY_S, EVER),),
    "the flow meter dies": (Fault("meter-dead", 0.3 * DAY_S, EVER),),
    "messages get lost, late and double": (
        Fault("messages-lost", 0.0, EVER),
        Fault("messages-late", 0.0, EVER),
        Fault("messages-double", 0.0, EVER),
    ),
}
"""Stories that are always among them, three days each."""

ALWAYS_DAYS = 3.0


@dataclass(frozen=True, slots=True)
class Story:
    number: int
    scene: Scene


@dataclass(frozen=True, slots=True)
class Told:
    """How a story ended.

    starved_h: hours below the wilting mark although water and pump were there. wilting_after_h: when that began,
    from the first fault on. trips: their reasons. false_trips: of those whose cause was not there.
    """

    number: int
    scene: Scene
    violations: tuple[Violation, ...]
    wilted_h: float
    starved_h: float
    wilting_after_h: float | None
    trips: tuple[str, ...]
    false_trips: tuple[str, ...]
    runs: int

    @property
    def faults(self) -> tuple[Fault, ...]:
        return self.scene.faults


def stories(scene: Scene, count: int, seed: int) -> Iterator[Story]:
    """The scene with faults: first the ones that are always there, then random ones.

    Every other random story is of a bed with a cut-off relay, a flow meter and a sensed supply.
    """
    chance = Random(seed)
    always = list(ALWAYS.values())
    for number in range(count):
        told = equipped(scene) if number < len(always) or number % 2 else scene
        if number < len(always):
            told = replace(told, faults=always[number], days=max(scene.days, ALWAYS_DAYS))
        else:
            told = replace(told, faults=_random_faults(chance, scene.days * DAY_S))
        yield Story(number, replace(told, seed=chance.randrange(2**31)))


def tell(story: Story) -> Told:
    """Plays one story before the judge."""
    monitor = Monitor(rules_of(story.scene))
    findings = _play(story.scene, monitor)
    names = {fault.name for fault in story.scene.faults}
    is_excused = bool(names & NO_WATER) or not findings.had_water or _is_locked_rightly(names, findings)
    begun_s = min((fault.starts_s for fault in story.scene.faults), default=0.0)
    wilted_s = findings.wilted_at_s
    return Told(
        number=story.number,
        scene=story.scene,
        violations=tuple(monitor.violations),
        wilted_h=findings.wilted_h,
        starved_h=0.0 if is_excused else findings.wilted_h,
        wilting_after_h=None if wilted_s is None else (wilted_s - begun_s) / HOUR_S,
        trips=tuple(reason for _, reason in findings.began),
        false_trips=tuple(reason for _, reason in findings.false_trips),
        runs=sum(findings.counts.values()),
    )


def shortest(told: Told) -> tuple[Told, list[str]]:
    """The same wrong with the fewest faults, and everything that happened up to it, the newest last."""
    story = told
    for fault in told.faults:
        fewer = replace(story.scene, faults=tuple(other for other in story.scene.faults if other != fault))
        again = tell(Story(told.number, fewer))
        if again.violations:
            story = again
    heard = Heard(Monitor(rules_of(story.scene)))
    _play(story.scene, heard)
    first_s = story.violations[0].at_s
    return story, [line for at_s, line in heard.lines if at_s <= first_s][-TRACE_LINES:]


def _play(scene: Scene, trace: Trace) -> Findings:
    with tempfile.TemporaryDirectory() as folder:
        keeping = FileKeeping(Path(folder) / "story.db")
        try:
            return Play(scene, keeping, trace).run()
        finally:
            keeping.close()


def equipped(scene: Scene) -> Scene:
    """The scene with a cut-off relay, a flow meter and a sensed supply."""
    limits = replace(
        scene.limits, has_cutoff=True, has_read_back=True, normal_flow_l_per_min=scene.figures.pump_l_per_min
    )
    return replace(scene, limits=limits)


def _is_locked_rightly(names: set[str], findings: Findings) -> bool:
    return bool(names & LOCKING) and any("locked" in text.lower() for _, text in findings.alerts)


def tell_all(scene: Scene, count: int, seed: int, progress: Callable[[int], object] | None = None) -> list[Told]:
    """All stories over all cores. progress: called with the number of stories told."""
    told: list[Told] = []
    with ProcessPoolExecutor() as pool:
        for one in pool.map(tell, stories(scene, count, seed), chunksize=4):
            told.append(one)
            if progress is not None:
                progress(len(told))
    return told


def rules_of(scene: Scene) -> Rules:
    """The limits as plain numbers, for a judge that knows no guard."""
    limits = scene.limits
    settle_s = {}
    if limits.has_sump_float:
        settle_s["sump_low"] = max(limits.settle_sump_s, limits.run_back_s)
    if limits.has_tray_float:
        settle_s["tray_high"] = max(limits.settle_tray_s, limits.run_back_s)
    return Rules(
        longest_s=limits.longest_run_s,
        most_s=limits.most_per_day_s,
        rest_s=limits.rest_s,
        settle_s=settle_s,
        start_delay_s=limits.start_delay_s,
        has_read_back=limits.has_read_back,
        confirm_s=limits.confirm_s,
    )


def _random_faults(chance: Random, end_s: float) -> tuple[Fault, ...]:
    names = chance.sample(sorted(FAULTS), chance.randint(1, MOST_FAULTS))
    faults = []
    for name in names:
        starts_s = chance.uniform(0.0, 0.9 * end_s)
        faults.append(Fault(name, starts_s, starts_s + chance.choice((0.1, 1.0, 4.0, 12.0, 48.0)) * HOUR_S))
    return tuple(faults)
