"""Random faults on a bed, story after story: does the guard hold, do the plants starve, are there false alarms?"""

import tempfile
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from typing import Any, TypeVar

from waaler.model.faults import Fault
from waaler.rehearsal.chances import (
    dense,
    equipped,
    faults_together,
    random_faults,
    random_script,
    with_some_equipment,
)
from waaler.rehearsal.deeds import Script
from waaler.rehearsal.heard import Heard
from waaler.rehearsal.keeping import FileKeeping
from waaler.rehearsal.monitor import Monitor
from waaler.rehearsal.rules import DAY_S, Violation
from waaler.rehearsal.scene import Findings, Scene
from waaler.rehearsal.trial import Trial
from waaler.rehearsal.wire import LATEST_S
from waaler.rehearsal.witness import rules_of

__all__ = [
    "ALWAYS", "Heard", "Story", "Told", "eventful", "judge_of", "lots", "shortest", "stories", "tell", "tell_all",
]  # fmt: skip

FOLDER = "/dev/shm" if Path("/dev/shm").is_dir() else None
"""Records of a story need no disk."""

NO_SCRIPT = Script()
Judge = TypeVar("Judge", bound=Monitor)

HOUR_S = 3600.0
TRACE_LINES = 40
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
    script: Script = NO_SCRIPT


@dataclass(frozen=True, slots=True)
class Told:
    """How a story ended.

    starved_h: hours below the wilting mark although water and pump were there, and nobody kept the water away.
    wilting_after_h: when that began, from the first fault on. trips: their reasons. false_trips: of those whose
    cause was not there.
    """

    story: Story
    violations: tuple[Violation, ...]
    wilted_h: float
    starved_h: float
    wilting_after_h: float | None
    trips: tuple[str, ...]
    false_trips: tuple[str, ...]
    runs: int

    @property
    def number(self) -> int:
        return self.story.number

    @property
    def scene(self) -> Scene:
        return self.story.scene

    @property
    def faults(self) -> tuple[Fault, ...]:
        return self.scene.faults


def stories(scene: Scene, count: int, seed: int) -> Iterator[Story]:
    """The scene with faults: first the ones that are always there, then random ones.

    Of three random stories one has the bed's faults alone, two a day full of people and troubles of the computer
    too, and of these one is on a bed with short times. The beds have a cut-off relay, a flow meter and a sensed
    supply, or not.
    """
    always = list(ALWAYS.values())
    for number in range(count):
        told, chance = scene, lots(seed, number)
        if number < len(always):
            told = replace(equipped(told), faults=always[number], days=max(scene.days, ALWAYS_DAYS))
            yield Story(number, replace(told, seed=chance.randrange(2**31)))
        elif number % 3 == 0:
            told = equipped(scene) if number % 2 else scene
            told = replace(told, faults=random_faults(chance, told.days * DAY_S))
            yield Story(number, replace(told, seed=chance.randrange(2**31)))
        else:
            yield eventful(scene, number, chance, is_dense=number % 3 == 1)


def lots(seed: int, number: int) -> Random:
    """Those of one story: what is drawn in another changes nothing in it."""
    return Random(f"{seed} {number}")


def eventful(scene: Scene, number: int, chance: Random, is_dense: bool) -> Story:
    """A story with everything in it."""
    told = dense(scene, chance) if is_dense else scene
    told = with_some_equipment(told, chance)
    end_s = told.days * DAY_S
    script = random_script(chance, told, end_s)
    faults = random_faults(chance, end_s) if chance.random() < 0.8 else ()
    told = replace(told, faults=faults + faults_together(chance, script, end_s))
    return Story(number, replace(told, seed=chance.randrange(2**31)), script)


def tell(story: Story) -> Told:
    """Plays one story before the judge."""
    findings, monitor = _play(story, judge_of(story))
    names = {fault.name for fault in story.scene.faults}
    is_excused = bool(names & NO_WATER) or not findings.had_water or _is_locked_rightly(names, findings)
    begun_s = min((fault.starts_s for fault in story.scene.faults), default=0.0)
    wilted_s = findings.wilted_at_s
    false_trips = () if story.script.is_misleading else tuple(reason for _, reason in findings.false_trips)
    return Told(
        story=story,
        violations=tuple(sorted(monitor.violations, key=lambda violation: violation.at_s)),
        wilted_h=findings.wilted_h,
        starved_h=0.0 if is_excused or story.script != NO_SCRIPT else findings.wilted_h,
        wilting_after_h=None if wilted_s is None else (wilted_s - begun_s) / HOUR_S,
        trips=tuple(reason for _, reason in findings.began),
        false_trips=false_trips,
        runs=sum(findings.counts.values()),
    )


def shortest(told: Told) -> tuple[Told, list[str]]:
    """The same wrong with the fewest faults and deeds, and everything that happened up to it, the newest last."""
    best = told
    for fewer in _fewer(best.story):
        if (again := tell(fewer(best.story))).violations:
            best = again
    heard = Heard(judge_of(best.story))
    _play(best.story, heard)
    first_s = best.violations[0].at_s
    return best, [line for at_s, line in heard.lines if at_s <= first_s][-TRACE_LINES:]


def judge_of(story: Story) -> Monitor:
    """By the limits that the story begins with."""
    is_late = any(fault.name == "messages-late" for fault in story.scene.faults)
    return Monitor(rules_of(story.scene.limits), wire_s=LATEST_S if is_late else 0.0)


def _fewer(story: Story) -> Iterator[Callable[[Story], Story]]:
    """Each way to leave something out."""
    for fault in story.scene.faults:
        yield lambda s, f=fault: replace(s, scene=replace(s.scene, faults=_without(s.scene.faults, f)))  # type: ignore[misc]
    for name in ("troubles", "stalls", "deeds"):
        for one in getattr(story.script, name):
            yield lambda s, n=name, o=one: replace(  # type: ignore[misc]
                s, script=replace(s.script, **{n: _without(getattr(s.script, n), o)})
            )


def _without(these: tuple[Any, ...], one: Any) -> tuple[Any, ...]:
    return tuple(other for other in these if other != one)


def _play(story: Story, judge: Judge) -> tuple[Findings, Judge]:
    with tempfile.TemporaryDirectory(dir=FOLDER) as folder:
        keeping = FileKeeping(Path(folder) / "story.db")
        try:
            trial = Trial(story.scene, keeping, judge, story.script)
            findings = trial.run()
            trial.finish()
            return findings, judge
        finally:
            keeping.close()


def _is_locked_rightly(names: set[str], findings: Findings) -> bool:
    return bool(names & LOCKING) and any("locked" in text.lower() for _, text in findings.alerts)


def tell_all(telling: Iterable[Story], hear: Callable[[Told], object]) -> list[Told]:
    """All stories over all cores. hear: is told each as it comes, in their order."""
    told: list[Told] = []
    with ProcessPoolExecutor() as pool:
        for one in pool.map(tell, telling, chunksize=4):
            told.append(one)
            hear(one)
    return told
