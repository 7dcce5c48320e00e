"""The fault campaign: python -m tests.campaign --days 10000 --seed 1"""

import argparse
import sys
import time
from collections import defaultdict
from datetime import UTC, datetime
from pathlib import Path

from waaler.rehearsal.campaign import Told, tell_all
from waaler.rehearsal.scene import Scene
from waaler.settings import load

__all__ = ["campaign_scene", "report"]

EXAMPLE = Path(__file__).parents[2] / "config" / "bed.yaml"


def campaign_scene(days: float = 1.0) -> Scene:
    """The worked example in high summer."""
    settings = load(EXAMPLE)
    start = datetime(2026, 7, 1, tzinfo=UTC)
    return Scene(settings.plan, settings.sensing, settings.limits, settings.figures, start, days)


def report(told: list[Told]) -> str:
    """Violations, starvation and runs, with the worst story of each."""
    wrong = [one for one in told if one.violations]
    starved = sorted((one for one in told if one.starved_h > 0), key=lambda one: -one.starved_h)
    by_fault: dict[str, int] = defaultdict(int)
    for one in told:
        for fault in one.faults:
            by_fault[fault.name] += 1
    lines = [
        f"{len(told)} days, {sum(one.runs for one in told)} runs, refusals and skips; "
        f"{len(by_fault)} kinds of faults, each in {min(by_fault.values())} days or more",
        f"violations: {sum(len(one.violations) for one in wrong)} in {len(wrong)} days",
        f"starvation: {len(starved)} days, {sum(one.starved_h for one in starved):.1f} h",
    ]
    for one in wrong[:3] + starved[:3]:
        faults = ", ".join(f"{f.name}@{f.starts_s:.0f}..{f.ends_s:.0f}" for f in one.faults)
        lines.append(f"  story {one.number} ({faults}): starved {one.starved_h:.1f} h")
        lines += [f"    {violation.at_s:.1f} s: {violation.what}" for violation in one.violations[:4]]
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    started_s = time.perf_counter()
    told = tell_all(campaign_scene(), arguments.days, arguments.seed)
    print(report(told))
    print(f"in {time.perf_counter() - started_s:.0f} s")
    return 1 if any(one.violations for one in told) else 0


if __name__ == "__main__":
    sys.exit(main())
