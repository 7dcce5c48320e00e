"""Breaks guard, decisions and restoring one by one, and shows that the campaign notices each.

Run as `python -m tests.campaign.mutants [--short] --seed 1`. Every mutant must be caught within 300 short stories, or
its row says why nothing in a rehearsal can reach it. Exits 1 if one lives that should not.

The short form begins with the story that noticed the mutant when the whole was last run, as `--note` wrote it down; only
where that one no longer does are the others told.
"""

import argparse
import json
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

from tests.campaign.__main__ import campaign_scene
from tests.campaign.mutant_list import MUTANTS, Mutant

from waaler.rehearsal.campaign import Story, eventful, lots, tell
from waaler.rehearsal.monitor import Monitor
from waaler.rehearsal.scene import Scene

__all__ = ["Caught", "caught", "short_stories"]

MOST = 300
BAR = 24
NOTICED = Path(__file__).with_name("noticed.json")


@dataclass(frozen=True, slots=True)
class Caught:
    """story: the number of the story that noticed, None if none did. rule: what the judge said."""

    number: int
    story: int | None
    rule: str
    seconds: float

    @property
    def mutant(self) -> Mutant:
        return MUTANTS[self.number]

    @property
    def is_wrong(self) -> bool:
        return self.story is None and not self.mutant.why_not

    def __str__(self) -> str:
        found = f"story {self.story:3}" if self.story is not None else "lives    "
        rule = self.rule if self.story is not None else self.mutant.why_not or "NOT CAUGHT"
        return f"{self.mutant.where:7} | {self.mutant.what:66} | {found} | {rule}"


def short_stories(scene: Scene, count: int, seed: int) -> Iterator[Story]:
    """Half days in which much happens."""
    return (eventful(scene, number, lots(seed, number), is_dense=True) for number in range(count))


@contextmanager
def mutated(mutant: Mutant) -> Iterator[None]:
    with ExitStack() as stack:
        for module, name in mutant.places:
            true = getattr(module, name)
            setattr(module, name, mutant.by(true))
            stack.callback(setattr, module, name, true)
        yield


def caught(number: int, first: int | None, seed: int) -> Caught:
    """Tells stories until one notices; first: the number of the one to begin with."""
    mutant, started_s = MUTANTS[number], time.perf_counter()
    stories = list(short_stories(campaign_scene(), BAR if mutant.why_not else MOST, seed))
    stories.sort(key=lambda story: story.number != first)
    with mutated(mutant):
        for story in stories:
            rule = _noticed(story)
            if rule:
                return Caught(number, story.number, rule, time.perf_counter() - started_s)
    return Caught(number, None, "", time.perf_counter() - started_s)


def _noticed(story: Story) -> str:
    """What the judge said first, or how the story fell over; nothing if neither."""
    try:
        with patch.object(Monitor, "_wrong", _end_at_once):
            violations = tell(story).violations
    except Wrong as wrong:
        return str(wrong)[:70]
    except Exception as problem:  # a mutant may break anything; a story that falls over was noticed
        return f"{type(problem).__name__}: {problem}"[:70]
    return violations[0].what[:70] if violations else ""


class Wrong(Exception):
    """What the judge said; the story need not go on."""


def _end_at_once(_: Monitor, __: float, what: str) -> None:
    raise Wrong(what)


def table(firsts: Mapping[str, int], seed: int, tell_row: Callable[[Caught], object]) -> list[Caught]:
    """All of them over all cores; each row is told as it comes. firsts: the story to begin with, by mutant."""
    rows = []
    with ProcessPoolExecutor() as pool:
        begin_with = [firsts.get(mutant.what) for mutant in MUTANTS]
        for row in pool.map(caught, range(len(MUTANTS)), begin_with, [seed] * len(MUTANTS)):
            rows.append(row)
            tell_row(row)
    return rows


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--short", action="store_true", help="begin with the story that noticed it last")
    parser.add_argument("--note", action="store_true", help="write down which story noticed which mutant")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    started_s = time.perf_counter()
    firsts = json.loads(NOTICED.read_text()) if arguments.short else {}
    rows = table(firsts, arguments.seed, lambda row: print(row, flush=True))
    if arguments.note:
        NOTICED.write_text(
            json.dumps({row.mutant.what: row.story for row in rows if row.story is not None}, indent=1) + "\n"
        )
    living = [row for row in rows if row.is_wrong]
    reasons = sum(1 for row in rows if row.story is None and not row.is_wrong)
    print(f"{len(rows)} mutants, {len(rows) - len(living) - reasons} caught, {reasons} out of reach, {len(living)} live; "
          f"in {time.perf_counter() - started_s:.0f} s")  # fmt: skip
    return 1 if living else 0


if __name__ == "__main__":
    sys.exit(main())
