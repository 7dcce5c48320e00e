"""Random faults on a bed, story after story: does the guard hold, do the plants starve, are there false alarms?"""

import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from waaler.model.faults import FAULTS, Fault
from waaler.rehearsal.keeping import FileKeeping
from waaler.rehearsal.monitor import Monitor, Rules, Violation
from waaler.rehearsal.play import Play
from waaler.rehearsal.scene import Findings, Scene

__all__ = ["ALWAYS", "Story", "Told", "rules_of", "stories", "tell", "tell_all"]

DAY_S = 86_400.0
HOUR_S = 3600.0
MOST_FAULTS = 3
NO_WATER = frozenset({"dead-pump", "leak", "tube-off", "power-cut", "power-flaps", "blocked-drain", "slow-drain"})
"""With one of these the plants may be short of water that nobody can give: their wilting is not the tool's."""

ALWAYS = (
    (Fault("sump-float-chatters", 0.0, 9e9),),
    (Fault("puddle", 0.0, 9e9),),
    (Fault("probe-in-wet-pot", 0.0, 9e9),),
    (Fault("power-cut", 0.4 * DAY_S, 0.5 * DAY_S), Fault("disk-full", 0.0, 0.45 * DAY_S)),
    (Fault("no-clock", 0.2 * DAY_S, 9e9), Fault("power-cut", 0.25 * DAY_S, 0.3 * DAY_S)),
    (Fault("power-flaps", 0.3 * DAY_S, 0.8 * DAY_S),),
    (Fault("tube-off", 0.2 * DAY_S, 9e9),),
    (Fault("welded-relay", 0.5 * DAY_S, 0.6 * DAY_S),),
)
"""Stories that are always among them."""


@dataclass(frozen=True, slots=True)
class Story:
    number: int
    scene: Scene


@dataclass(frozen=True, slots=True)
class Told:
    """How a story ended. starved_h: hours below the wilting mark although water and pump were there."""

    number: int
    faults: tuple[Fault, ...]
    violations: tuple[Violation, ...]
    wilted_h: float
    starved_h: float
    false_trips: int
    runs: int


def stories(scene: Scene, count: int, seed: int) -> Iterator[Story]:
    """The scene with faults: first the ones that are always there, then random ones."""
    chance = Random(seed)
    for number in range(count):
        faults = ALWAYS[number] if number < len(ALWAYS) else _random_faults(chance, scene.days * DAY_S)
        yield Story(number, replace(scene, faults=faults, seed=chance.randrange(2**31)))


def tell(story: Story) -> Told:
    """Plays one story before the judge."""
    scene = story.scene
    monitor = Monitor(rules_of(scene))
    with tempfile.TemporaryDirectory() as folder:
        keeping = FileKeeping(Path(folder) / "story.db")
        try:
            findings = Play(scene, keeping, monitor).run()
        finally:
            keeping.close()
    names = {fault.name for fault in scene.faults}
    return Told(
        number=story.number,
        faults=scene.faults,
        violations=tuple(monitor.violations),
        wilted_h=findings.wilted_h,
        starved_h=0.0 if names & NO_WATER or findings.sump_low_at is not None else findings.wilted_h,
        false_trips=0 if names else len(findings.trips),
        runs=_runs(findings),
    )


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
        confirm_s=limits.confirm_s,
    )


def _random_faults(chance: Random, end_s: float) -> tuple[Fault, ...]:
    names = chance.sample(sorted(FAULTS), chance.randint(1, MOST_FAULTS))
    faults = []
    for name in names:
        starts_s = chance.uniform(0.0, 0.9 * end_s)
        faults.append(Fault(name, starts_s, starts_s + chance.choice((0.1, 1.0, 4.0, 12.0, 48.0)) * HOUR_S))
    return tuple(faults)


def _runs(findings: Findings) -> int:
    return sum(findings.counts.values())
