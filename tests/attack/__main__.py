"""Attacks on all that comes from outside. Run: `python -m tests.attack [--minutes M] [--seed S] [CLASS ...]`.

Every class draws inputs by lot for so long, and says what did not hold. Ends with 1 if something did not. A class says
its seed; the same seed draws the same inputs. The default test run has a short form of each.
"""

import argparse
import faulthandler
import random
import sys
import tempfile
import time
from pathlib import Path

import structlog
from tests.attack.classes import CLASSES, Attack

LONGEST_S = 120.0
"""An input that takes longer hangs: the process ends and shows where."""

MOST_SHOWN = 10


def main() -> None:
    told = argparse.ArgumentParser(prog="python -m tests.attack")
    told.add_argument("--minutes", type=float, default=1.0, help="for each class")
    told.add_argument("--seed", type=int, default=1)
    told.add_argument("classes", nargs="*", metavar="CLASS", help=", ".join(CLASSES))
    words = told.parse_args()
    if unknown := set(words.classes) - set(CLASSES):
        told.error(f"no class {', '.join(sorted(unknown))}; there are {', '.join(CLASSES)}")
    structlog.configure(logger_factory=structlog.ReturnLoggerFactory())
    print(
        f"seed {words.seed}, {words.minutes:g} min each\n{'class of attack':<28} {'inputs':>9} {'held':>9}",
        flush=True,
    )
    wrong = 0
    for name in words.classes or CLASSES:
        wrong += run(name, CLASSES[name], 60.0 * words.minutes, words.seed)
    sys.exit(1 if wrong else 0)


def run(name: str, attack: Attack, seconds: float, seed: int) -> int:
    """Prints its line, and what did not hold; how many inputs that was."""
    inputs, wrong = 0, []
    ends_s = time.monotonic() + seconds
    with tempfile.TemporaryDirectory() as folder:
        faulthandler.dump_traceback_later(LONGEST_S, exit=True)
        for found in attack(random.Random(f"{seed} {name}"), Path(folder)):
            faulthandler.dump_traceback_later(LONGEST_S, exit=True)
            inputs += 1
            wrong += [] if found is None else [found]
            if time.monotonic() >= ends_s:
                break
        faulthandler.cancel_dump_traceback_later()
    print(f"{name:<28} {inputs:>9} {inputs - len(wrong):>9}", flush=True)
    for found in wrong[:MOST_SHOWN]:
        print(f"    {found[:600]}", flush=True)
    return len(wrong)


if __name__ == "__main__":
    main()
