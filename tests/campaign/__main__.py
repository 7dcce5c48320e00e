"""The fault campaign: python -m tests.campaign --days 10000 --seed 1"""

import argparse
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console
from rich.progress import Progress

from waaler.model.faults import FAULTS
from waaler.rehearsal.campaign import Story, Told, shortest, stories, tell_all
from waaler.rehearsal.scene import Scene
from waaler.rehearsal.staging import scene_of
from waaler.settings import load

__all__ = ["campaign_scene", "report"]

MISLEADING = frozenset(name for name in FAULTS if "float" in name or "meter" in name)
EXAMPLE = Path(__file__).parents[2] / "config" / "bed.yaml"


def campaign_scene(days: float = 1.0) -> Scene:
    """The worked example in high summer."""
    return scene_of(load(EXAMPLE), datetime(2026, 7, 1, tzinfo=UTC), days)


def report(told: list[Told]) -> str:
    """Violations, starvation and false trips as rates, by cause, with the worst story of each."""
    wrong = [one for one in told if one.violations]
    days = sum(one.scene.days for one in told)
    counts = Counter(fault.name for one in told for fault in one.faults)
    lines = [
        f"{days:.0f} days in {len(told)} stories, {sum(one.runs for one in told)} runs, refusals and skips; "
        f"{len(counts)} kinds of faults, each in {min(counts.values())} stories or more",
        f"violations: {sum(len(one.violations) for one in wrong)} in {len(wrong)} stories",
    ]
    for one in wrong[:3]:
        least, trace = shortest(one)
        lines += [f"  story {one.number}, seed {least.scene.seed}: {_faults(least)}"]
        lines += [f"    {violation.at_s:.1f} s: {violation.what}" for violation in least.violations[:4]]
        lines += [f"      {line}" for line in trace]
    return "\n".join([*lines, *_starvation(told, days), *_false_trips(told, days)])


def _starvation(told: list[Told], days: float) -> list[str]:
    starved = sorted((one for one in told if one.starved_h > 0), key=lambda one: -one.starved_h)
    hours = sum(one.starved_h for one in starved)
    lines = [f"starvation: {len(starved)} stories, {hours:.1f} h in all, {1000 * hours / days:.1f} h in 1000 days"]
    lines += [f"  worst: story {one.number} ({_faults(one)}), {one.starved_h:.1f} h" for one in starved[:1]]
    after: dict[str, list[float]] = defaultdict(list)
    for one in told:
        for fault in one.faults:
            if one.wilting_after_h is not None:
                after[fault.name].append(one.wilting_after_h)
    lines += [
        f"  with {name}: wilting after {min(hours):.1f} h at the soonest, in {len(hours)} stories"
        for name, hours in sorted(after.items())
    ]
    return lines


def _false_trips(told: list[Told], days: float) -> list[str]:
    tripped = sorted((one for one in told if one.false_trips), key=lambda one: -len(one.false_trips))
    count = sum(len(one.false_trips) for one in tripped)
    lines = [f"false trips: {count} in {len(tripped)} stories, {count / days:.2f} a day"]
    lines += [f"  worst: story {one.number} ({_faults(one)}), {len(one.false_trips)}" for one in tripped[:1]]
    reasons = Counter(reason for one in tripped for reason in one.false_trips)
    lines += [f"  {number:6} x {reason}" for reason, number in reasons.most_common()]
    sound = [one for one in tripped if not {f.name for f in one.faults} & MISLEADING]
    lines += [f"  without any fault that misleads an input: {sum(len(one.false_trips) for one in sound)}"]
    return lines


def _faults(one: Told) -> str:
    """What befalls the bed and the computer, and what people do."""
    script = one.story.script
    spans = [(f.name, f.starts_s, f.ends_s) for f in one.faults]
    spans += [(f.name, f.starts_s, f.ends_s) for f in script.troubles]
    befalls = [f"{name}@{starts_s:.0f}..{min(ends_s, 1e9):.0f}" for name, starts_s, ends_s in spans]
    stalls = [f"guard-stalls@{start_s:.0f}..{end_s:.0f}" for start_s, end_s in script.stalls]
    deeds = [f"{type(deed).__name__.lower()}@{at_s:.0f}" for at_s, deed in script.deeds]
    drift = [f"drift {100 * script.drift:.0f} %"] if script.drift else []
    return ", ".join([*befalls, *stalls, *deeds, *drift]) or "nothing"


def of_days(days: float, seed: int) -> Iterator[Story]:
    """Stories of so many days in all; some last half a day, some a week."""
    told_days = 0.0
    for story in stories(campaign_scene(), sys.maxsize, seed):
        if told_days >= days:
            return
        told_days += story.scene.days
        yield story


def _with_progress(days: float, seed: int) -> list[Told]:
    """With a bar on a terminal, without one in a pipe; a story that went wrong is named at once."""
    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task("days", total=days)

        def hear(one: Told) -> None:
            bar.advance(task, one.scene.days)
            if one.violations:
                console.print(f"story {one.number}: {one.violations[0].what}", markup=False)

        return tell_all(of_days(days, seed), hear)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=float, default=200.0)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    started_s = time.perf_counter()
    told = _with_progress(arguments.days, arguments.seed)
    print(report(told))
    print(f"in {time.perf_counter() - started_s:.0f} s")
    return 1 if any(one.violations for one in told) else 0


if __name__ == "__main__":
    sys.exit(main())
