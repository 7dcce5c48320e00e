"""Random weeks asked face by face: python -m tests.faces --weeks 100 --seed 1"""

import argparse
import os
import sys
import tempfile
from pathlib import Path

from tests.faces.said import differences
from tests.faces.week import play_week

__all__ = ["main"]


def main() -> int:
    """1 if any two faces differ."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weeks", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    moments = wrong = 0
    for seed in range(wanted.seed, wanted.seed + wanted.weeks):
        with tempfile.TemporaryDirectory() as folder:
            os.environ["STATE_DIRECTORY"] = folder
            for said in play_week(Path(folder), seed):
                moments += 1
                for difference in differences(said):
                    wrong += 1
                    print(f"week {seed}, moment {moments}: {difference}")
    print(f"{wanted.weeks} weeks, {moments} moments, {wrong} differences")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
